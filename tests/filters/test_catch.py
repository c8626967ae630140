"""`catch`: a fader does nothing after a scene change until it passes the value in force."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.message_words import from_hex
from tests.support.filter_bench import PlainSurroundings, at_once, heard, refusal, step_in
from tests.support.played_engine import PlayedEngine

CATCH = 'filter = "catch", controllers = [7]'


def test_a_fader_waits_for_the_value_in_force() -> None:
    """From above or from below nothing passes until the fader reaches the value; then all passes."""
    for way in (["B0 07 10", "B0 07 30", "B0 07 3F"], ["B0 07 70", "B0 07 50", "B0 07 41"]):
        step = step_in(CATCH, PlainSurroundings(values={(0xB0, 7): 0x40}))
        assert heard(step, *way) == []
        assert heard(step, "B0 07 40", "B0 07 10", "B0 07 7F") == ["B0 07 40", "B0 07 10", "B0 07 7F"]


def test_a_fader_that_jumps_over_the_value_has_passed_it() -> None:
    """A fast fader sends few values: the first one beyond the value in force passes."""
    step = step_in(CATCH, PlainSurroundings(values={(0xB0, 7): 0x40}))
    assert heard(step, "B0 07 30", "B0 07 55") == ["B0 07 55"]


def test_a_fader_passes_at_once_where_nothing_is_known() -> None:
    """Before anything was sent there is no level that could jump."""
    step = step_in(CATCH, PlainSurroundings())
    assert heard(step, "B0 07 30", "B0 07 55") == ["B0 07 30", "B0 07 55"]


def test_channels_and_controllers_are_apart() -> None:
    """A fader that has caught its value catches no other; what is not named passes."""
    step = step_in('filter = "catch", controllers = [7, 11]', PlainSurroundings(values={(0xB1, 7): 64, (0xB0, 11): 64}))
    assert heard(step, "B0 07 10", "B1 07 10", "B0 0B 10", "B0 0A 10", "90 3C 40") == [
        "B0 07 10",
        "B0 0A 10",
        "90 3C 40",
    ]


def test_an_lsb_goes_with_its_msb() -> None:
    """The LSB (39 of 7) passes once the MSB has passed, and not before (MIDI 1.0 p. 12)."""
    step = step_in(CATCH, PlainSurroundings(values={(0xB0, 7): 64}))
    assert heard(step, "B0 07 10", "B0 27 05", "B0 07 40", "B0 27 06") == ["B0 07 40", "B0 27 06"]


@given(st.integers(0, 127), st.lists(st.integers(0, 127), min_size=1))
def test_no_level_jumps_away_from_the_fader(value: int, moved: list[int]) -> None:
    """The first value that passes is where the fader is, on the other side of the value in force or at it; whatever
    comes afterwards passes."""
    step = step_in(CATCH, PlainSurroundings(values={(0xB0, 7): value}))
    passed = [bool(at_once(step, bytes((0xB0, 7, each)))) for each in moved]
    first = passed.index(True) if True in passed else len(moved)
    assert all(passed[first:])
    before = moved[:first]
    assert all(each < value for each in before) or all(each > value for each in before)


RIG = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
lead = { port = "c" }
second = { port = "d" }
[instruments.strings]
output = "lead"
channel = 3
[[scenes]]
number = 1
name = "Loud"
routes = [
  { from = "keys", to = "lead", through = [
    { filter = "catch", controllers = [7, 74, 11] }, { filter = "channels", map = { 1 = 3 } },
  ] },
  { from = "pads", to = "lead" },
]
[[scenes]]
number = 2
name = "Elsewhere"
routes = [{ from = "keys", to = "second" }]
[[scenes]]
number = 3
name = "Set"
enter = [{ on = "strings", send = ["volume 90", "controller 74 = 20"] }]
play = [{ from = "keys", on = "strings", through = [{ filter = "catch", controllers = [7, 74] }] }]
[[scenes]]
number = 5
name = "Loud again"
routes = [{ from = "keys", to = "lead", through = [
  { filter = "catch", controllers = [11] }, { filter = "channels", map = { 1 = 3 } },
] }]
[[scenes]]
number = 4
name = "Silence"
"""


def _sent(engine: PlayedEngine, *messages: str, source: int = 0) -> list[str]:
    """What the first output gets for these."""
    before = len(engine.heard(0))
    for message in messages:
        engine.play(source, from_hex(message))
    return [message.hex(" ").upper() for _, message, _ in engine.heard(0)[before:]]


@pytest.mark.parametrize("number", ["07", "4A"])
def test_what_the_fader_itself_sent_last_is_in_force(number: str) -> None:
    """Back in a scene, the fader waits for the level that it left there, on the channel behind later filters."""
    engine = PlayedEngine(RIG)
    assert _sent(engine, f"B0 {number} 40") == [f"B2 {number} 40"]
    engine.recall(2)
    assert _sent(engine, f"B0 {number} 10") == []
    engine.recall(1)
    assert _sent(engine, f"B0 {number} 11", f"B0 {number} 30") == []
    assert _sent(engine, f"B0 {number} 50", f"B0 {number} 20") == [f"B2 {number} 50", f"B2 {number} 20"]


def test_what_another_player_sent_is_in_force() -> None:
    """The volume that another input has set is the one to be caught."""
    engine = PlayedEngine(RIG)
    _sent(engine, "B2 07 40", source=1)
    assert _sent(engine, "B0 07 10", "B0 07 3F") == []
    assert _sent(engine, "B0 07 41") == ["B2 07 41"]


def test_what_a_scene_has_set_is_in_force() -> None:
    """After a recall that sets the volume the fader waits for that value, on the channel of the instrument."""
    engine = PlayedEngine(RIG)
    _sent(engine, "B0 07 40")
    engine.recall(3)
    assert _sent(engine, "B0 07 40", "B0 07 59", "B0 4A 10") == []
    assert _sent(engine, "B0 07 5A", "B0 4A 14") == ["B2 07 5A", "B2 4A 14"]


def test_a_scene_change_does_not_reset_what_a_fader_waits_to_move() -> None:
    """Expression stays where it is over a recall of a scene whose fader must catch it, and rests in one without."""
    for scene, rests in ((5, False), (4, True)):
        engine = PlayedEngine(RIG)
        assert _sent(engine, "B0 0B 7F", "B0 0B 40") == ["B2 0B 7F", "B2 0B 40"]
        engine.recall(scene)
        engine.run_dry()
        assert (engine.heard(0)[-1][1] == b"\xb2\x0b\x7f") == rests


def test_after_a_pulled_cable_it_waits_again() -> None:
    """What the fader of an unplugged input had caught is to be caught once more."""
    engine = PlayedEngine(RIG)
    _sent(engine, "B0 07 40")
    engine.lose(0)
    assert _sent(engine, "B0 07 10") == []


def test_a_recall_does_not_tell_where_a_fader_is() -> None:
    """Where an instrument would be told the player's true positions, that of a fader that must catch its value is not
    told: it moves nothing until then."""
    engine = PlayedEngine(RIG)
    _sent(engine, "B2 07 40", source=1)
    engine.recall(2)
    _sent(engine, "B0 07 10")
    engine.recall(1)
    assert [message for _, message, _ in engine.heard(0)] == [b"\xb2\x07\x40"]


def test_what_is_allowed_is_said() -> None:
    """Pedals, banks, data, LSBs and mode messages are no faders."""
    for wrong in (0, 6, 32, 39, 64, 80, 88, 98, 123, 128):
        assert "a controller that a fader may move" in refusal(f'filter = "catch", controllers = [{wrong}]')
    assert refusal('filter = "catch"').startswith("controllers")
