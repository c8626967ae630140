"""What scenes send when they come and go, and the tempo that they set. (Our own design; no source.)"""

from engine.core.commands import Panic, RecallScene, SendPreset
from engine.core.engine import Engine
from tests.support.engine_calls import adopt, command, engine_of, output_there, recall
from tests.support.play_rig import GEAR, heard, play_rig, playing, scene

MS = 1_000_000
SCENES = scene(
    1,
    'play = [{ from = "keys", on = "bass", sound = "Upright" }]',
    'enter = [{ on = "bass", send = ["volume 90", "nrpn 1/8 = 64"] },'
    ' { to = "right", send = ["start", "F0 7D 02 F7"] }]',
    'leave = [{ to = "right", send = ["stop"] }, { on = "brass", send = ["controller 1 = 0"] }]',
) + scene(2, 'burst = [{ output = "right", channel = 1, program = 7 }]')


def sent(engine: Engine, number: int, now: int = 0) -> list[str]:
    """What a recall sends, each as "OUTPUT: FA"."""
    out = recall(engine, now, number)
    return [f"{engine.outputs[output]}: {message.hex(' ').upper()}" for output, message, _ in out]


def test_enter_follows_the_sounds_and_leave_comes_before_the_next_scenes_burst() -> None:
    """On each output in the order of the file; the words mean the instrument's channel."""
    engine = engine_of(play_rig(SCENES))
    left = ["C1 20", "B1 07 5A", "B1 63 01", "B1 62 08", "B1 06 40", "B1 65 7F", "B1 64 7F"]
    assert sent(engine, 1) == [*(f"left: {message}" for message in left), "right: FA", "right: F0 7D 02 F7"]
    assert sent(engine, 2, MS) == ["left: B2 01 00", "right: FC", "right: C0 06"]


def test_a_scene_that_is_recalled_again_is_not_left() -> None:
    """It is entered again, with its events, and what it sends on leaving is not sent."""
    engine = playing(SCENES)
    assert not {"right: FC", "left: B2 01 00"} & {*sent(engine, 1, MS)}
    assert "right: FA" in sent(engine, 1, 2 * MS)


def test_resend_repeats_sounds_and_values_but_no_events() -> None:
    """Start and SysEx are events; volume, parameters and programs are values."""
    engine = playing(SCENES)
    _, out = command(engine, MS, "resend")
    assert {message[0] for output, message, _ in out if output == 0} == {0xC1, 0xB1}
    assert [message for output, message, _ in out if output == 1] == []


def test_an_output_that_is_back_gets_the_values_again_but_no_events() -> None:
    """The looper is not started a second time because its cable was pulled."""
    engine = playing(SCENES)
    assert bytes.fromhex("B1075A") in [message for _, message, _ in output_there(engine, MS, 0)]
    assert bytes.fromhex("FA") not in [message for _, message, _ in output_there(engine, 2 * MS, 1)]


def test_what_enter_set_is_not_put_to_rest() -> None:
    """Rest undoes what hands moved, never what a scene set."""
    engine = playing(
        scene(1, 'play = [{ from = "keys", on = "bass" }]', 'enter = [{ on = "bass", send = ["controller 1 = 30"] }]')
        + scene(2)
    )
    heard(engine, "B0 0B 20", now=MS)  # the expression pedal
    out = [message.hex(" ").upper() for _, message, _ in recall(engine, 2 * MS, 2)]
    assert "B1 0B 7F" in out
    assert not [message for message in out if message.startswith("B1 01")]


def test_show_control_goes_out_with_the_rigs_own_device() -> None:
    """ "go 14.5" is GO in the format of all types (RP-002, 4.1 and 4.3); without [remote] it is for all devices."""
    scenes = scene(1, 'enter = [{ to = "right", send = ["go 14.5"] }]')
    assert sent(engine_of(play_rig(scenes)), 1) == ["right: F0 7F 7F 02 7F 01 31 34 2E 35 F7"]
    remote = '\n[remote]\ninputs = ["keys"]\ndevice = 5\n'
    assert sent(engine_of(play_rig(scenes + remote)), 1) == ["right: F0 7F 05 02 7F 01 31 34 2E 35 F7"]


def test_a_scene_sets_the_tempo_of_the_rigs_own_clock() -> None:
    """At each recall; a scene without a tempo leaves it as it is. An edit of the scene in force counts at once."""
    clock = "\n[sync.clock]\nbpm = 100\n"
    text = scene(1, "tempo = 126.5") + scene(2) + clock
    engine = engine_of(play_rig(text))
    own = engine.state.sync.clock
    assert own is not None
    assert own.bpm == 100
    for number in (1, 2):
        engine.apply(0, RecallScene(number))
        assert own.bpm == 126.5
    recall(engine, 0, 1)
    adopt(engine, MS, play_rig(text.replace("126.5", "90")))
    assert own.bpm == 90


def test_a_tempo_without_a_clock_changes_nothing() -> None:
    """The rig may follow another clock, or none."""
    engine = engine_of(play_rig(scene(1, "tempo = 90")))
    assert sent(engine, 1) == []


def test_a_scene_is_found_by_its_cue() -> None:
    """A name comes before a number in words, and that before a cue."""
    engine = playing(scene(1) + scene(14, 'cue = "2"') + scene(2, 'cue = "14.5"') + scene(3, 'cue = "1"'), GEAR)
    assert [engine.state.compiled.find(each) for each in ("14.5", "2", "1", "Scene 14", "9")] == [2, 2, 1, 14, None]


# Only what changed

SAME = 'enter = [{ on = "bass", send = ["volume 90", "controller 1 = 0", "nrpn 1/8 = 64", "F0 7D 05 F7", "start"] }]'
VALUES = 'enter = [{ on = "bass", send = ["volume 90", "controller 1 = 0", "nrpn 1/8 = 64"] }]'
LINE = 'play = [{ from = "keys", on = "bass" }]'


def controllers(messages: list[str]) -> list[str]:
    """The numbers of the controllers among these."""
    return [message[9:11] for message in messages if message.startswith("left: B1")]


def test_values_that_are_so_already_are_not_sent_again() -> None:
    """Neither a controller nor one at its rest nor a parameter, wherever the scene before has set them."""
    engine = playing(scene(1, LINE, VALUES) + scene(2, LINE, VALUES) + scene(3, LINE))
    assert sent(engine, 2, MS) == []
    sent(engine, 3, 2 * MS)
    assert sent(engine, 1, 3 * MS) == []


def test_values_that_a_scene_sends_when_it_is_left_go_out_only_when_they_change() -> None:
    """As those that it sends when it comes; events go out each time."""
    leave = 'leave = [{ on = "bass", send = ["controller 1 = 0", "volume 90", "nrpn 1/8 = 64", "start"] }]'
    engine = playing(scene(1, LINE, leave) + scene(2, LINE))
    first = sent(engine, 2, MS)
    assert "left: B1 07 5A" in first
    sent(engine, 1, 2 * MS)
    assert sent(engine, 2, 3 * MS) == ["left: FA"]
    sent(engine, 1, 4 * MS)
    heard(engine, "B0 07 10", now=5 * MS)
    assert sent(engine, 2, 6 * MS) == ["left: B1 07 5A", "left: FA"]


def test_a_value_that_a_player_has_moved_is_sent_again() -> None:
    """Each alone: the volume pedal, the wheel, the parameter; and no other value."""
    engine = playing(scene(1, LINE, VALUES) + scene(2, LINE, VALUES))
    heard(engine, "B0 07 10")
    assert controllers(sent(engine, 2, 2_000 * MS)) == ["07"]
    heard(engine, "B0 01 30", now=3_000 * MS)
    assert controllers(sent(engine, 1, 4_000 * MS)) == ["01"]
    for message in ("B0 63 01", "B0 62 08", "B0 06 10"):
        heard(engine, message, now=5_000 * MS)
    assert controllers(sent(engine, 2, 6_000 * MS)) == ["63", "62", "06", "65", "64"]
    for message in ("B0 63 01", "B0 62 09", "B0 06 10"):  # another parameter
        heard(engine, message, now=7_000 * MS)
    assert controllers(sent(engine, 1, 8_000 * MS)) == []


def test_a_value_that_another_scene_has_set_is_sent() -> None:
    """The same controller or parameter with another value."""
    other = VALUES.replace("90", "80").replace("64", "65")
    engine = playing(scene(1, LINE, VALUES) + scene(2, LINE, other))
    assert controllers(sent(engine, 2, MS)) == ["07", "63", "62", "06", "65", "64"]
    assert controllers(sent(engine, 1, 2 * MS)) == ["07", "63", "62", "06", "65", "64"]


def test_events_are_sent_each_time_and_values_after_sysex_too() -> None:
    """SysEx may have reset the instrument, so that nothing is sure any more; universal real-time SysEx has not."""
    engine = playing(
        scene(1, LINE, SAME) + scene(2, LINE, VALUES) + scene(3, LINE, SAME.replace("F0 7D 05 F7", "go 1"))
    )
    assert controllers(sent(engine, 2, MS)) == ["07", "01", "63", "62", "06", "65", "64"]
    for now in (2, 3):
        assert sent(engine, 3, now * MS)[-2:] == ["left: F0 7F 7F 02 7F 01 31 F7", "left: FA"]
        assert controllers(sent(engine, 2, now * MS + 1)) == []


def test_after_a_panic_or_what_a_control_sent_values_are_sent() -> None:
    """Whatever may have changed them, they are sent once more."""
    for asked in (Panic(), SendPreset("left", (bytes.fromhex("B1 06 01"),))):
        engine = playing(scene(1, LINE, VALUES) + scene(2, LINE, VALUES))
        engine.apply(MS, asked)
        assert controllers(sent(engine, 2, 2 * MS)) == ["07", "01", "63", "62", "06", "65", "64"]


def test_after_a_pulled_cable_values_are_sent_once() -> None:
    """When the output is back; the next scene with the same values need not send them again."""
    engine = playing(scene(1, LINE, VALUES) + scene(2, LINE, VALUES))
    out = [message.hex(" ").upper() for _, message, _ in output_there(engine, MS, 0)]
    assert "B1 07 5A" in out
    assert controllers(sent(engine, 2, 2 * MS)) == []


def test_a_value_that_still_waits_is_not_lost() -> None:
    """Two recalls at once: what the first has not sent yet, the second sends."""
    text = GEAR.replace('left = { port = "Box*1" }', 'left = { port = "Box*1", wire = "din" }')
    burst = 'burst = [{ instrument = "bass", program = 5 }]'
    engine = engine_of(play_rig(scene(1, burst, VALUES) + scene(2, burst, VALUES), text))
    recall(engine, 0, 1)
    out = [message for _, message, _ in recall(engine, 100, 2)]
    while engine.due is not None:
        out += [message for _, message, _ in engine.tick(engine.due)]
    assert bytes.fromhex("B1075A") in out
    assert bytes.fromhex("B10640") in out


def test_a_value_that_a_player_has_brought_to_rest_is_sent_again() -> None:
    """A wheel at zero is not where the scene has put it."""
    wheel = VALUES.replace("controller 1 = 0", "controller 1 = 30")
    engine = playing(scene(1, LINE, wheel) + scene(2, LINE, wheel))
    heard(engine, "B0 01 00")
    assert controllers(sent(engine, 2, 2_000 * MS)) == ["01"]
