"""Play lines as they are heard: what passes, on which channel, in which order. (Our own design; no source.)

Controllers and their numbers: MIDI 1.0 Table III; mode messages: Table IV.
"""

import pytest

from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, mute, recall
from tests.support.play_rig import GEAR, heard, play_rig, playing, scene

BASS = scene(1, 'play = [{ from = "keys", on = "bass" }]')


@pytest.mark.parametrize("channel", [0, 5, 15])
def test_any_channel_of_the_input_arrives_on_the_instruments(channel: int) -> None:
    """Notes, bends and pressure of every channel come out on channel 2, and nothing elsewhere."""
    engine = playing(BASS)
    for kind, rest in ((0x90, "3C 40"), (0xE0, "00 50"), (0xD0, "22"), (0xA0, "3C 11"), (0x80, "3C 40")):
        assert heard(engine, f"{kind | channel:02X} {rest}") == [f"left: {kind | 1:02X} {rest}"]


def test_a_line_of_one_channel_hears_no_other() -> None:
    """`channel = 4` looks at what came in, and arrives on the instrument's channel, too."""
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass", channel = 4 }]'))
    assert heard(engine, "93 3C 40") == ["left: 91 3C 40"]
    assert heard(engine, "90 3C 40") == []


@pytest.mark.parametrize("message", ["C0 05", "B0 00 01", "B0 20 02", "B0 7B 00", "B0 79 00", "B0 7F 00"])
def test_programs_banks_and_modes_pass_only_if_the_line_says_so(message: str) -> None:
    """The keyboard's own buttons change no sound of the scene, unless `programs = true`."""
    assert heard(playing(BASS), message) == []
    allowed = playing(scene(1, 'play = [{ from = "keys", on = "bass", programs = true }]'))
    assert heard(allowed, message) == [f"left: {message[0]}1{message[2:]}"]


def test_pedal_false_stops_the_four_pedals_and_nothing_else() -> None:
    """64, 66, 67 and 69 are stopped; 65 and 68, a switch and legato, pass, and so does the volume pedal."""
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass", pedal = false }]'))
    for number in (64, 66, 67, 69):
        assert heard(engine, f"B0 {number:02X} 7F") == []
        assert heard(playing(BASS), f"B0 {number:02X} 7F") == [f"left: B1 {number:02X} 7F"]
    for number in (65, 68, 7):
        assert heard(engine, f"B0 {number:02X} 7F") == [f"left: B1 {number:02X} 7F"]


@pytest.mark.parametrize("message", ["F0 7D 01 F7", "F8", "FA", "F3 05", "F2 01 02", "F6"])
def test_system_messages_pass_lines_as_they_pass_routes(message: str) -> None:
    """Ranges, channel, transposition and the instrument's chain leave SysEx, clock and song position alone."""
    line = 'play = [{ from = "keys", on = "bass", notes = "C4..", channel = 3, transpose = 12, pedal = false }]'
    gear = GEAR.replace("channel = 2", 'channel = 2\nthrough = [{ filter = "strip", kinds = ["sysex", "notes"] }]')
    assert heard(playing(scene(1, line), gear), message) == [f"left: {message}"]


@pytest.mark.parametrize(
    ("notes", "low", "high"),
    [('"..B3"', 0, 59), ('"C4.."', 60, 127), ('"C3..B4"', 48, 71), ('["C3", 71]', 48, 71), ('"36..36"', 36, 36)],
)
def test_ranges_may_be_open_at_either_end(notes: str, low: int, high: int) -> None:
    """Both ends are included, an end that is left out is that of MIDI."""
    engine = playing(scene(1, f'play = [{{ from = "keys", on = "bass", notes = {notes} }}]'))
    passing = [key for key in range(128) if heard(engine, f"90 {key:02X} 40")]
    assert passing == [*range(low, high + 1)]


def test_velocity_ranges_pass_every_release() -> None:
    """Presses outside the range are stopped; a release passes whatever its velocity."""
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass", velocity = "64.." }]'))
    assert heard(engine, "90 3C 3F") == []
    assert heard(engine, "90 3C 40") == ["left: 91 3C 40"]
    assert heard(engine, "80 3C 10") == ["left: 81 3C 10"]


def test_ranges_look_at_what_came_in_and_the_chain_at_what_is_transposed() -> None:
    """The order is range, transposition, the line's chain, the instrument's channel, the instrument's chain."""
    line = (
        '{ from = "keys", on = "bass", notes = "C4..C4", transpose = -12, '
        'through = [{ filter = "notes", map = { C3 = "D3" } }, { filter = "channels", keep = [1] }] }'
    )
    chain = '[{ filter = "channels", keep = [2] }, { filter = "velocity", fixed = 9 }]'
    gear = GEAR.replace("channel = 2", f"channel = 2\nthrough = {chain}")
    engine = playing(scene(1, f"play = [{line}]"), gear)
    assert heard(engine, "90 3C 40") == ["left: 91 32 09"]
    assert heard(engine, "90 30 40") == []


def test_transpositions_of_line_and_scene_add_up_but_not_for_drums() -> None:
    """A kit keeps its keys whatever the scene's key is; only its own line moves it."""
    lines = '{ from = "keys", on = "bass", transpose = -12 }, { from = "keys", on = "kit", transpose = 1 }'
    engine = playing(scene(1, "transpose = -2", f"play = [{lines}]"))
    assert heard(engine, "90 3C 40") == ["left: 91 2E 40", "right: 99 3D 40"]


def test_a_line_has_a_name_and_is_muted_by_it() -> None:
    """`mute` knows the names of lines."""
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass", name = "low" }]'))
    assert mute(engine, 0, "low", True)[0].done
    assert heard(engine, "90 3C 40") == []


def test_lines_and_routes_stand_in_one_scene() -> None:
    """Both play, each as it says."""
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass" }]', 'routes = [{ from = "keys", to = "right" }]'))
    assert sorted(heard(engine, "94 3C 40")) == ["left: 91 3C 40", "right: 94 3C 40"]


def test_one_line_for_two_inputs() -> None:
    """`from` takes a list, as in routes."""
    engine = playing(scene(1, 'play = [{ from = ["keys", "upper"], on = "brass" }]'))
    for source in ("keys", "upper"):
        assert heard(engine, "90 3C 40", source) == ["left: 92 3C 40"]


# Inputs, instruments and chains

STOPPED = GEAR.replace('"Stage piano*"', '"Stage piano*", stop = ["program", "bank", "all notes off"]')


def test_what_an_input_stops_is_never_routed_from_it() -> None:
    """Neither a line with `programs = true` nor a route gets it; other controllers and modes pass."""
    lines = ('play = [{ from = "keys", on = "bass", programs = true }]', 'routes = [{ from = "keys", to = "right" }]')
    engine = playing(scene(1, *lines), STOPPED)
    for message in ("C0 01", "B0 00 01", "B0 20 01", "B0 7B 00"):
        assert heard(engine, message) == []
    assert heard(engine, "B0 78 00") == ["right: B0 78 00", "left: B1 78 00"]


def test_what_an_input_stops_is_still_a_control() -> None:
    """`stop` hides nothing from controls."""
    control = '\n[[controls]]\ninput = "keys"\nwhen = { program = "any" }\ndo = "scene"\n'
    engine = playing(BASS + scene(2) + control, STOPPED)
    heard(engine, "C0 01")
    assert engine.scene == (2, "Scene 2")


def test_an_inputs_chain_comes_before_everything() -> None:
    """Ranges of lines look at what the input's chain has made of a message."""
    gear = GEAR.replace('"Stage piano*"', '"Stage piano*", through = [{ filter = "transpose", semitones = 12 }]')
    engine = playing(scene(1, 'play = [{ from = "keys", on = "bass", notes = "C5..C5" }]'), gear)
    assert heard(engine, "90 3C 40") == ["left: 91 48 40"]


LOUD = GEAR.replace("channel = 2", 'channel = 2\nthrough = [{ filter = "velocity", fixed = 100 }]')


def test_an_instruments_chain_acts_on_routes_but_on_no_other_channel() -> None:
    """What arrives on its output and channel passes its chain, wherever it comes from; other outputs do not."""
    engine = playing(scene(1, 'routes = [{ from = "keys", to = ["left", "right"] }]'), LOUD)
    assert heard(engine, "91 3C 40") == ["right: 91 3C 40", "left: 91 3C 64"]
    assert heard(engine, "90 3C 40") == ["right: 90 3C 40", "left: 90 3C 40"]


def test_what_an_instruments_chain_sends_to_another_channel_passes_no_second_chain() -> None:
    """Each message passes the chain of the channel that it arrives on, and no other."""
    gear = GEAR.replace("channel = 2", 'channel = 2\nthrough = [{ filter = "channels", map = { 2 = 3 } }]')
    gear = gear.replace("channel = 3", 'channel = 3\nthrough = [{ filter = "velocity", fixed = 1 }]')
    engine = playing(BASS, gear)
    assert heard(engine, "90 3C 40") == ["left: 92 3C 40"]


def test_an_instruments_chain_keeps_its_state_and_its_times() -> None:
    """A latch holds, and an echo comes later, in an instrument's chain as in a route's."""
    chain = 'through = [{ filter = "latch", controllers = [64] }, { filter = "echo", repeats = 1, fade = 0 }]'
    engine = playing(BASS, GEAR.replace("channel = 2", f"channel = 2\n{chain}"))
    assert heard(engine, "B0 40 7F") == ["left: B1 40 7F"]
    assert heard(engine, "B0 40 00") == []
    assert heard(engine, "90 3C 40") == ["left: 91 3C 40"]
    assert [(out[1].hex(), out[2]) for out in engine.tick(1_250_000_000)] == [("913c40", 1_250_000_000)]


def test_chains_are_used_by_name_and_in_one_another() -> None:
    """A chain stands for its filters, in the place where it is named."""
    chains = (
        '\n[chains]\nsoft = [{ filter = "velocity", fixed = 5 }]\n"left hand" = [{ filter = "zone", notes = "..B3" }, '
        '"soft"]\n'
    )
    line = '{ from = "keys", on = "bass", through = ["left hand", { filter = "transpose", semitones = 12 }] }'
    engine = playing(chains + scene(1, f"play = [{line}]"))
    assert heard(engine, "90 30 40") == ["left: 91 3C 05"]
    assert heard(engine, "90 3C 40") == []


def test_names_of_notes_follow_the_gear() -> None:
    """`middle_c` says how note 60 is printed, for lines, filters and maps alike."""
    line = '{ from = "keys", on = "bass", notes = "C3..", through = [{ filter = "notes", map = { C3 = "D3" } }] }'
    for middle_c, key in (("C3", 60), ("C4", 48), ("C5", 36)):
        named = GEAR.replace("format = 2\n", f'format = 2\n[rig]\nmiddle_c = "{middle_c}"\n')
        engine = playing(scene(1, f"play = [{line}]"), named)
        assert heard(engine, f"90 {key - 1:02X} 40") == []
        assert heard(engine, f"90 {key:02X} 40") == [f"left: 91 {key + 2:02X} 40"]


def test_a_rig_of_format_1_plays_the_same_without_any_of_this() -> None:
    """Format 1 has none of these keys, and routes of it pass everything as before."""
    text = GEAR.replace("format = 2", "format = 1").replace("drums = true\n", "")
    text = text.replace(', Fretless = { send = ["F0 7D 01 F7", "volume 90"], settle = "80 ms" }', "")
    rig = read(text + scene(1, 'routes = [{ from = "keys", to = "left" }]'), "pit.toml")
    engine = engine_of(rig)
    recall(engine, 0, 1)
    assert heard(engine, "C5 01") == ["left: C5 01"]


# Sounds


def test_the_sound_of_a_line_is_sent_at_the_recall() -> None:
    """A line puts its instrument on its sound; two lines that say the same say it once."""
    lines = (
        '{ from = "keys", on = "bass", sound = "Upright", notes = "..B3" }, '
        '{ from = "keys", on = "bass", sound = "Upright", notes = "C5.." }, '
        '{ from = "keys", on = "brass", sound = "Muted" }'
    )
    engine = engine_of(play_rig(scene(1, f"play = [{lines}]")))
    assert [message.hex(" ").upper() for _, message, _ in recall(engine, 0, 1)] == ["C1 20", "C2 3B"]


def test_a_sound_may_be_chosen_by_any_messages_with_a_time_of_its_own() -> None:
    """Notes of the instrument wait until it has settled: 80 ms here."""
    engine = engine_of(play_rig(scene(1, 'play = [{ from = "keys", on = "bass", sound = "Fretless" }]')))
    assert [message.hex(" ").upper() for _, message, _ in recall(engine, 0, 1)] == ["F0 7D 01 F7", "B1 07 5A"]
    assert heard(engine, "90 3C 40", now=1_000_000) == []
    assert [(sent.hex(), at) for _, sent, at in engine.tick(80_000_000)] == [("913c40", 80_000_000)]


def test_each_use_of_a_chain_has_its_own_memory() -> None:
    """A switch that is latched in one scene is off in the next one, which names the same chain."""
    chain = '\n[chains]\nhold = [{ filter = "latch", controllers = [80] }]\n'
    line = 'play = [{ from = "keys", on = "bass", through = ["hold"] }]'
    engine = playing(chain + scene(1, line) + scene(2, line))
    assert heard(engine, "B0 50 7F") == ["left: B1 50 7F"]
    recall(engine, 2_000_000_000, 2)
    assert heard(engine, "B0 50 7F", now=3_000_000_000) == ["left: B1 50 7F"]
