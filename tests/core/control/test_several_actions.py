"""Controls with several actions: all in one step of the engine, in their order. (Our own design; no outside source.)"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.engine import Engine
from engine.rig.read.load import RigError, read
from tests.support.engine_calls import adopt, engine_of, recall

FORMAT_2 = """format = 2
[inputs]
keys = { port = "a" }
foot = { port = "b" }
[outputs]
box = { port = "c" }
looper = { port = "d" }
[instruments.brass-box]
output = "box"
channel = 3
[sync.clock]
bpm = 100
[[scenes]]
number = 1
name = "One"
play = [ { from = "keys", on = "brass-box", name = "brass" } ]
[[scenes]]
number = 2
name = "Two"
play = [ { from = "keys", on = "brass-box", name = "brass" } ]
[[setlists]]
name = "Thursday"
scenes = [1, 2]
[[setlists]]
name = "Friday"
scenes = [2, 1]
[[controls]]
input = "foot"
when = { controller = 80 }
"""
PRESS, RELEASE = bytes((0xB0, 80, 127)), bytes((0xB0, 80, 0))
BOX, LOOPER = 0, 1


def played(do: str) -> Engine:
    """This rig in scene 1, whose switch does this."""
    made = engine_of(read(FORMAT_2 + do, "test"))
    recall(made, 0, 1)
    return made


def pressed(made: Engine, at: int = 1) -> list[tuple[int, str]]:
    """What one press of the switch sends, by output."""
    sent = made.receive(at * 10**9, 1, PRESS)
    sent += made.receive(at * 10**9 + 10**8, 1, RELEASE)
    return [(output, message.hex(" ").upper()) for output, message, _ in sent]


def done(made: Engine) -> list[tuple[str, str]]:
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    return [(each.do, each.text) for each in outcomes]


def test_one_press_does_all_in_order() -> None:
    """The message that arrives next already follows all of them."""
    made = played('do = ["next", { toggle = "brass" }, { send = ["stop", "F0 7D 01 F7"], to = "looper" }]')
    assert pressed(made) == [(LOOPER, "FC"), (LOOPER, "F0 7D 01 F7")]
    assert done(made) == [("next", "scene 2 Two"), ("toggle", "brass muted"), ("send", "2 messages sent to looper")]
    assert made.receive(2 * 10**9, 0, bytes((0x90, 60, 100))) == []


def test_a_toggle_mutes_and_unmutes_in_turn() -> None:
    made = played('do = { toggle = "brass" }')
    states = []
    for press in range(1, 5):
        pressed(made, press)
        states.append("brass" in made.state.muted)
    assert states == [True, False, True, False]


@pytest.mark.parametrize(
    ("do", "what", "text"),
    [
        ("{ scene = 2 }", "scene", "scene 2 Two"),
        ('{ scene = "Two" }', "scene", "scene 2 Two"),
        ('{ setlist = "Friday" }', "setlist", "set list Friday, last entry"),
        ('{ mute = "brass" }', "mute", "brass muted"),
        ('{ unmute = "brass" }', "unmute", "brass is not muted"),
        ("{ tempo = 126.5 }", "clock", "clock stopped, 126.5 bpm"),
        ('["panic"]', "panic", "panic: 0 notes released, everything silenced on 2 outputs"),
    ],
)
def test_each_action(do: str, what: str, text: str) -> None:
    made = played(f"do = {do}")
    pressed(made)
    assert done(made) == [(what, text)]


def test_words_go_to_the_channel_of_the_instrument() -> None:
    made = played('do = { send = ["volume 90", "program 12"], on = "brass-box" }')
    assert pressed(made) == [(BOX, "B2 07 5A"), (BOX, "C2 0B")]


def test_an_instrument_that_moves_to_another_channel_gets_the_words_there() -> None:
    """The controls are as they were: what they send follows the instrument all the same."""
    do = 'do = { send = ["volume 90"], on = "brass-box" }'
    made = played(do)
    adopt(made, 10, read(FORMAT_2.replace("channel = 3", "channel = 5") + do, "test"))
    assert pressed(made) == [(BOX, "B4 07 5A")]


ACTIONS = ["{ scene = 1 }", "{ scene = 2 }", '"next"', '"back"', '{ toggle = "brass" }']


@given(st.lists(st.sampled_from(ACTIONS), min_size=1, max_size=6))
def test_one_press_is_as_several_in_a_row(actions: list[str]) -> None:
    """Any list of actions leaves the show where the same actions leave it that come one after the other."""
    together = played(f"do = [{', '.join(actions)}]")
    pressed(together)
    apart = played('do = "next"')
    for place, action in enumerate(actions):
        adopt(apart, place * 10**9 + 5 * 10**8, read(FORMAT_2 + f"do = {action}", "test"))
        pressed(apart, 1 + place)
    assert together.state.main.position == apart.state.main.position
    assert together.state.muted == apart.state.muted
    assert done(together) == done(apart)


@pytest.mark.parametrize(
    ("do", "words"),
    [
        ("[]", "found an empty list; allowed: an action, or a list of at least one"),
        ('["nxt"]', 'controls.1.do.1: found "nxt"; did you mean "next"? allowed: "scene", "next"'),
        ('{ toggle = "bras" }', 'there is no route "bras"; did you mean "brass"?'),
        ('{ setlist = "Sunday" }', 'there is no set list "Sunday"; there are: Thursday, Friday'),
        ("{ tempo = 4 }", "found 4; allowed: 20 to 300 beats per minute"),
        ("{ scene = 1, tempo = 100 }", "an action is exactly one of scene, song, setlist, toggle"),
        ('{ send = ["stop"] }', 'send takes a list of messages, and either to = "OUTPUT" or on = "INSTRUMENT"'),
        ('{ tempo = 100, to = "looper" }', 'send takes a list of messages, and either to = "OUTPUT"'),
        ('{ send = ["volume 9"], to = "looper" }', '"volume 9" needs a channel, and an output has none'),
        ("{ bend = 3 }", 'unknown key "bend"'),
    ],
)
def test_a_mistake_is_reported_at_its_place(do: str, words: str) -> None:
    with pytest.raises(RigError) as caught:
        read(FORMAT_2 + f"do = {do}", "test")
    assert words in str(caught.value)


@pytest.mark.parametrize("do", ['["next"]', "{ scene = 1 }"])
def test_format_1_has_one_word(do: str) -> None:
    text = FORMAT_2.replace("format = 2", "format = 1").replace("play =", "#") + f"do = {do}"
    with pytest.raises(RigError, match="this value needs format = 2"):
        read(text, "test")
