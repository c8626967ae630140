"""Spare channels: a new sound takes a channel where nothing sounds, and the scene follows it there.

The rules are the project's own (design, "What a scene change is").
"""

import pytest

from engine.core import scene_snapshot
from engine.core.commands import FollowShow, MuteRoute, Panic, RecallScene, Resend, SendPreset, UnmuteRoute
from engine.core.engine import Engine
from engine.core.routing.channel_places import by_instrument
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, apply, engine_of, output_there, recall
from tests.support.pit_engine import MS, hexed

KEYS, FOOT = 0, 1
TEXT = """
format = 2
[inputs]
keys = { port = "a" }
foot = { port = "b" }
[outputs]
brass = { port = "d" }
[instruments.module]
output = "brass"
channel = 4
spare = [11, 12]
settle = "20 ms"
setup = ["pitch bend range 7"]
sounds = { "A" = { program = 21 }, "B" = { program = 22 }, "C" = { program = 23 }, "D" = { program = 24 } }
"""
SCENES = "".join(
    f"""
[[scenes]]
number = {number}
name = "S{number}"
play = [ {{ from = "keys", on = "module", sound = "{sound}", name = "line" }} ]
enter = [ {{ on = "module", send = ["volume {90 + number}"] }} ]
leave = [ {{ on = "module", send = ["pan {number}"] }} ]
"""
    for number, sound in enumerate("ABCDA", 1)
)


def rig(extra: str = SCENES, text: str = TEXT) -> Rig:
    return read(text + extra, "test")


def module(extra: str = SCENES, text: str = TEXT) -> Engine:
    """An engine in scene 1, whose instrument has settled."""
    made = engine_of(rig(extra, text))
    recall(made, 0, 1)
    later(made, 100)
    return made


def play(made: Engine, at: float, *messages: str, source: int = KEYS) -> list[str]:
    """What is sent for these messages at a time in ms."""
    now = round(at * MS)
    return [sent for each in messages for sent in hexed(made.receive(now, source, bytes.fromhex(each)))]


def later(made: Engine, at: float) -> list[str]:
    """What is sent by a time in ms."""
    sent: list[str] = []
    while made.due is not None and made.due <= at * MS:
        sent += hexed(made.tick(made.due))
    return sent


def scene(made: Engine, at: float, number: int) -> list[str]:
    return hexed(recall(made, round(at * MS), number))


def places(made: Engine) -> dict[str, int]:
    return by_instrument(made.rig, made.outputs, made.state.places)


def test_a_new_sound_takes_a_spare_channel_while_a_note_sounds() -> None:
    """What the scene sends and plays follows it; the old note, its pedal and its release stay where it sounds."""
    made = module()
    assert play(made, 200, "90 3C 40") == ["93 3C 40"]
    assert scene(made, 201, 2) == ["B3 0A 01", "CA 15"]
    assert play(made, 202, "90 40 40") == []
    assert later(made, 230) == ["BA 07 5C", "9A 40 40"]
    assert places(made) == {"module": 11}
    assert sorted(play(made, 231, "B0 0B 20")) == ["B3 0B 20", "BA 0B 20"]
    assert play(made, 232, "80 3C 40", "80 40 40") == ["83 3C 40", "8A 40 40"]


def test_the_first_channel_is_taken_on_which_nothing_sounds() -> None:
    """First one that is on the sound already, then its own channel, then the spare ones; if all sound, its own."""
    made = module()
    for at, number, key, channel in ((200, 1, 60, 3), (300, 2, 61, 10), (400, 3, 62, 11), (500, 4, 63, 3)):
        scene(made, at, number)
        later(made, at + 50)
        assert play(made, at + 60, f"90 {key:X} 40") == [f"{0x90 | channel:X} {key:X} 40"]
    play(made, 600, "80 3D 40")
    later(made, 1500)
    assert "CA 15" not in scene(made, 1600, 2), "channel 11 is on this sound"
    assert places(made) == {"module": 11}


def test_a_sound_that_its_channel_is_on_stays_there() -> None:
    """Scene 5 has the sound of scene 1; the instrument stays on its channel, and the notes sound together."""
    made = module()
    play(made, 200, "90 3C 40")
    assert scene(made, 201, 5) == ["B3 0A 01", "B3 07 5F"]
    assert places(made) == {}
    assert play(made, 202, "90 40 40") == ["93 40 40"]


def test_it_goes_home_when_nothing_sounds() -> None:
    """Half a second after its end a note is silent; the next sound is on the instrument's own channel again."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    play(made, 300, "80 3C 40")
    later(made, 1000)
    assert scene(made, 1001, 3) + later(made, 1100) == ["BA 0A 02", "C3 16", "B3 07 5D"]
    assert places(made) == {}


def test_a_note_that_has_just_ended_counts_as_sounding() -> None:
    """Until a channel comes to rest its notes may fade; the next new sound does not go there."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    play(made, 251, "90 40 40", "80 3C 40")
    scene(made, 300, 3)
    assert places(made) == {"module": 12}


def test_a_scene_that_cuts_takes_its_own_channel() -> None:
    """With `held = "cut"` nothing sounds on, so no spare channel is needed."""
    made = module(SCENES.replace('name = "S3"', 'name = "S3"\nheld = "cut"'))
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    play(made, 251, "90 40 40")
    sent = scene(made, 252, 3)
    assert {"83 3C 40", "8A 40 40", "C3 16"} <= set(sent)
    assert places(made) == {}


def test_a_scene_without_a_sound_leaves_the_instrument_where_it_is() -> None:
    """Its line plays the sound that the instrument has."""
    made = module(SCENES + '[[scenes]]\nnumber = 9\nname = "S9"\nplay = [ { from = "keys", on = "module" } ]\n')
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    scene(made, 251, 9)
    assert play(made, 252, "90 40 40") == ["9A 40 40"]


def test_a_second_recall_does_not_take_the_sound_from_notes_that_wait_for_it() -> None:
    """A note of the second scene waits for its sound on channel 11, and gets it although a third scene is recalled."""
    made = module(text=TEXT.replace('"d" }', '"d", wire = "din" }'))
    play(made, 200, "90 3C 40")
    sent = play(made, 201, *["F0 7D 00 F7"])
    sent += scene(made, 201, 2) + play(made, 201, "90 40 40") + scene(made, 201, 3) + play(made, 201, "90 43 40")
    sent += later(made, 400)
    assert sent.index("CA 15") < sent.index("9A 40 40")
    assert sent.index("CB 16") < sent.index("9B 43 40")


def test_set_up_goes_to_all_channels() -> None:
    """At the start, and when the output is back; the scene in force is sent where it plays."""
    made = engine_of(rig())
    sent = hexed(recall(made, 0, 1))
    sent += later(made, 100)
    ranges = [f"B{channel} 06 07" for channel in "3AB"]
    assert [each for each in sent if each[3:5] == "06"] == ranges
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    sent = hexed(output_there(made, 300 * MS, 0))
    sent += later(made, 400)
    assert [each for each in sent if each[3:5] == "06"] == ranges
    assert {"C3 14", "CA 15", "BA 07 5C"} <= set(sent)


def test_resend_and_mute_keep_the_channel() -> None:
    """The sound is sent again where it is; a line that plays again plays there."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    assert hexed(apply(made, 251 * MS, Resend())) + later(made, 300) == ["CA 15", "BA 07 5C"]
    apply(made, 301 * MS, MuteRoute("line"))
    apply(made, 302 * MS, UnmuteRoute("line"))
    assert play(made, 303, "90 40 40") == ["9A 40 40"]


def test_an_edit_keeps_the_channel_while_it_is_a_spare_one() -> None:
    """An edited line plays on where the instrument is; if that is no longer a spare channel, on its own."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    adopt(made, 251 * MS, rig(SCENES.replace('"B", name', '"B", transpose = 12, name')))
    assert play(made, 252, "90 40 40") == ["9A 4C 40"]
    adopt(made, 253 * MS, rig(text=TEXT.replace("[11, 12]", "[12]")))
    assert places(made) == {}
    assert play(made, 254, "80 40 40") == ["8A 4C 40"]


def test_panic_at_an_instrument_silences_all_its_channels() -> None:
    """Its own channel and the spare ones."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    play(made, 251, "90 40 40")
    result = made.apply(252 * MS, Panic("module"))
    assert {"83 3C 40", "8A 40 40", "BB 7B 00"} <= set(hexed(result.deliveries))
    assert result.outcome.text == "panic: module silenced, channels 4, 11, 12 of brass"


def test_what_a_control_sends_follows_the_instrument() -> None:
    """A volume for the instrument's channel goes to the channel that it is on."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    assert hexed(apply(made, 251 * MS, SendPreset("brass", (b"\xb3\x07\x40",)))) == ["BA 07 40"]


def test_what_plays_is_described_by_the_instrument() -> None:
    """Its sound is the one of the channel that it is on; what was left behind on other channels is not its sound."""
    made = module()
    play(made, 200, "90 3C 40")
    scene(made, 201, 2)
    later(made, 250)
    assert scene_snapshot.sounds(made) == {"module": "B"}
    assert scene_snapshot.channels(made) == {"module": 11}
    assert scene_snapshot.burst(made) == [{"instrument": "module", "sound": "B"}]


SHARED = """
[[players]]
name = "anna"
inputs = ["keys"]
setlist = "Anna"
[[players]]
name = "ben"
inputs = ["foot"]
setlist = "Ben"
[[setlists]]
name = "Anna"
scenes = [1, 2]
[[setlists]]
name = "Ben"
scenes = [11]
[[scenes]]
number = 1
name = "First"
play = [ { from = "keys", on = "module", sound = "A" } ]
[[scenes]]
number = 2
name = "Second"
play = [ { from = "keys", on = "module", sound = "B" } ]
[[scenes]]
number = 11
name = "Beside"
play = [ { from = "foot", on = "module" } ]
"""


def test_whoever_shares_the_instrument_follows_it_with_their_pedals() -> None:
    """Anna's recall moves the instrument that Ben plays, too: his next note finds his expression there."""
    made = module(SHARED)
    apply(made, 100 * MS, RecallScene(11))
    assert play(made, 150, "B0 0B 20", source=FOOT) == ["B3 0B 20"]
    assert play(made, 200, "90 3C 40") == ["93 3C 40"]
    assert scene(made, 201, 2) == ["CA 15"]
    assert later(made, 300) == ["BA 0B 20"]
    assert play(made, 301, "90 50 40", source=FOOT) == ["9A 50 40"]


def test_a_filter_that_sends_later_follows_the_instrument() -> None:
    """An echo of every scene plays on where the instrument is by then; each of its notes is released there."""
    everywhere = '[[routes]]\nfrom = "keys"\nto = "brass"\nthrough = [ { filter = "channels", map = { 1 = 4 } }, '
    everywhere += '{ filter = "echo", repeats = 2, milliseconds = 100 } ]\n'
    made = module(everywhere + SCENES.replace('play = [ { from = "keys"', 'play = [ { from = "foot"'))
    play(made, 200, "90 3C 40")
    sent = later(made, 310)
    scene(made, 320, 2)
    sent += later(made, 350) + play(made, 390, "80 3C 40") + later(made, 1000)
    notes = [each[:5] for each in sent if each[0] in "89"]
    assert notes == ["93 3C", "9A 3C", "83 3C", "83 3C", "8A 3C"], "the key and its first echo are released together"
    assert made.state.ledger.sounding() == 0


def test_an_engine_that_follows_takes_the_channels_of_the_one_in_charge() -> None:
    """Its notes may end a moment earlier or later; when it takes over, it plays where the other one played."""
    leader, follower = module(), module()
    play(leader, 200, "90 3C 40")
    scene(leader, 201, 2)
    position = leader.state.main.position
    follower.apply(202 * MS, FollowShow(position, (), None, tuple(places(leader).items())))
    assert places(follower) == {"module": 11}
    later(follower, 300)
    assert play(follower, 301, "90 40 40") == ["9A 40 40"]
    follower.apply(302 * MS, FollowShow(position, (), None, (("module", 7), ("tuba", 3))))
    assert places(follower) == {}, "what this rig does not have is passed over"


def test_a_sound_of_messages_of_its_own_takes_a_spare_channel_too() -> None:
    """Its controllers go to the channel that it takes, and a channel that they were sent to is on it."""
    text = TEXT.replace('"B" = { program = 22 }', '"B" = { send = ["controller 70 = 5"] }')
    made = module(text=text)
    play(made, 200, "90 3C 40")
    assert "BA 46 05" in scene(made, 201, 2)
    later(made, 300)
    play(made, 301, "80 3C 40")
    later(made, 900)
    scene(made, 901, 1)
    assert places(made) == {}
    play(made, 902, "90 3C 40")
    assert "BA 46 05" not in scene(made, 903, 2)
    assert places(made) == {"module": 11}


@pytest.mark.parametrize(
    ("gear", "place", "text"),
    [
        ("spare = [11, 4]", "module.spare.2", "found 4, the channel of the instrument itself"),
        ("spare = [11, 11]", "module.spare.2", "found 11 twice"),
        ("spare = [5]", "module.spare.1", 'found 5, the channel of "tuba"'),
        ("spare = [6]", "module.spare.1", 'found 6, a spare channel of "tuba"'),
        ("spare = [17]", "module.spare.1", "found 17"),
        ('spare = [11]\nthrough = ["zone"]', "module.spare:", "the filter mpe"),
        ('spare = [11]\nsounds = { "A" = { send = ["F0 7D 01 F7"] } }', "module.sounds.A.send", "found SysEx"),
    ],
)
def test_mistakes_in_spare_channels(gear: str, place: str, text: str) -> None:
    """Each is reported with its place; the same channel at another output is nobody else's."""
    listed = f"""
format = 2
[inputs]
keys = {{ port = "a" }}
[outputs]
brass = {{ port = "d" }}
strings = {{ port = "e" }}
[chains]
zone = [ {{ filter = "mpe", from = {{ channel = 1 }}, to = {{ members = [2, 8] }} }} ]
[instruments.tuba]
output = "brass"
channel = 5
spare = [6]
[instruments.strings]
output = "strings"
channel = 11
[instruments.module]
output = "brass"
channel = 4
{gear}
[[scenes]]
number = 1
name = "One"
"""
    with pytest.raises(Exception, match="module") as raised:
        read(listed, "test")
    assert text in str(raised.value)
    assert place in str(raised.value)
    read(listed.replace(f"channel = 4\n{gear}", "channel = 4\nspare = [11]"), "test")
