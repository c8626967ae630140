"""A note owns its gesture: what shapes it comes from the hand that plays it until it is silent, whatever is recalled.

What is audible is judged by a receiver and a judge that know nothing of the engine (`tests/support/judged_engine.py`).
"""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import Resend, SendPreset
from engine.rig.read.load import read
from tests.support.audible_receiver import BEND, PRESSURE, AudibleReceiver, Part, rest
from tests.support.engine_calls import apply, engine_of, output_there, recall
from tests.support.judged_engine import MS, JudgedEngine
from tests.support.plain_connections import Connection, PlainShow
from tests.support.random_gestures import SCENES, deeds, perform, shows

pytestmark = pytest.mark.slow

SECOND = 1000 * MS
ONE, OTHER, PLACE = (0, 0), (1, 0), (0, 0)
VOLUME, EXPRESSION, SUSTAIN = (0xB0, 7), (0xB0, 11), (0xB0, 64)
_two = st.tuples(shows(), shows())
_scene = st.integers(1, SCENES)


@given(_two, deeds)
@settings(max_examples=40)
def test_every_note_sounds_as_its_player_means_it(rigs: tuple[PlainShow, PlainShow], stream: list[Any]) -> None:
    """From press to silence each note follows the hand that plays it through the connection that it began on, whatever
    is recalled, muted or edited; no level and no bend jumps under a sounding note; a place hears where the pedals and
    wheels of its new player are before the first note; and once all hands are off, within a second all is at rest."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


@given(st.tuples(shows(cuts=True), shows(cuts=True)), deeds, st.booleans())
@settings(max_examples=30)
def test_in_the_moments_after_a_recall_every_note_sounds_as_meant(
    rigs: tuple[PlainShow, PlainShow], stream: list[Any], panics: bool
) -> None:
    """The same before a recall has told everything, whatever hands do and whatever else is recalled in that time; and a
    panic then leaves everything at rest."""
    judged = JudgedEngine(rigs[0], hurries=True)
    perform(judged, rigs, stream)
    if panics:
        judged.recall(2)
        judged.panic()
        for _ in range(10):
            judged.tick()
        assert (judged.sounding(), judged.heard.off_rest()) == (0, set())
        judged.recall(1)
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


#: one place that is the first hand's in scene 1 and the second's in scene 2
IN_TURN = PlainShow((), ((Connection("one", ONE, PLACE),), (Connection("two", OTHER, PLACE),), ()))


@pytest.mark.parametrize("part", [BEND, PRESSURE, VOLUME, EXPRESSION, SUSTAIN, (0xB0, 1), (0xB0, 74)])
def test_two_players_take_turns_on_a_channel(part: Part) -> None:
    """While the first player's note sounds the other waits, but for pedals; nothing changes under a sounding note. Once
    the place was silent, everything is as the second hand has it."""
    judged = JudgedEngine(IN_TURN)
    told = judged.heard.at(PLACE).told
    judged.move(ONE, part, 100)
    judged.press(ONE, 60)
    judged.recall(2)
    judged.move(OTHER, part, 20)
    judged.press(OTHER, 64)
    judged.move(ONE, part, 110)
    judged.release(ONE, 60)
    judged.move(ONE, part, rest(part) or 0)
    assert told[part] == (20 if part == SUSTAIN else 110)
    judged.release(OTHER, 64)
    judged.press(OTHER, 64)
    assert told[part] == 20
    judged.recall(1)
    judged.move(OTHER, part, 30)
    judged.release(OTHER, 64)
    judged.press(ONE, 60)
    assert told[part] == (rest(part) or 0)
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


@given(st.tuples(shows(cuts=True), shows(cuts=True)), deeds)
@settings(max_examples=30)
def test_a_scene_that_cuts_ends_gestures_at_once(rigs: tuple[PlainShow, PlainShow], stream: list[Any]) -> None:
    """The recall of a scene with `held = "cut"` leaves nothing that sounds, and everything as the hands have it that it
    gives a place, or at rest."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


@given(_two, deeds, _scene)
@settings(max_examples=30)
def test_a_panic_ends_gestures(rigs: tuple[PlainShow, PlainShow], stream: list[Any], scene: int) -> None:
    """After a panic nothing sounds and all is at rest, wherever the hands are; the next recall tells where."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.panic()
    assert (judged.sounding(), judged.heard.off_rest()) == (0, set())
    judged.recall(scene)
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


@given(_two, deeds)
@settings(max_examples=30)
def test_a_pulled_input_ends_its_gestures_at_once(rigs: tuple[PlainShow, PlainShow], stream: list[Any]) -> None:
    """A pulled cable leaves no note that only its player held; once both inputs are gone nothing sounds, and all is at
    rest at once."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.lose(0)
    judged.lose(1)
    assert (judged.sounding(), judged.heard.off_rest()) == (0, set())
    judged.wait(SECOND)
    judged.check_rest()


@given(_two, deeds, st.integers(0, 1))
@settings(max_examples=30)
def test_a_returned_output_is_told_where_everything_is(
    rigs: tuple[PlainShow, PlainShow], stream: list[Any], output: int
) -> None:
    """An output that was away gets the pedals, wheels and faders of those who reach it."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.come_back(output)
    judged.check_places(output)


@given(_two, deeds)
@settings(max_examples=30)
def test_a_resend_tells_where_everything_is(rigs: tuple[PlainShow, PlainShow], stream: list[Any]) -> None:
    """Resend gives an instrument that has forgotten everything all positions of the hand that reaches it."""
    judged = JudgedEngine(rigs[0])
    perform(judged, rigs, stream)
    judged.lift()
    judged.wait(SECOND)
    judged.forget(apply(judged.engine, judged.now, Resend()))
    judged.check_places()


@given(_two, deeds, _scene)
@settings(max_examples=30)
def test_on_din_cables_everything_ends_where_the_hands_are(
    rigs: tuple[PlainShow, PlainShow], stream: list[Any], scene: int
) -> None:
    """On full DIN cables, too, a second after the last deed everything is as the hands have it, or at rest."""
    first, second = (rig._replace(wire="din") for rig in rigs)
    judged = JudgedEngine(first, judges=False)
    perform(judged, (first, second), stream)
    judged.recall(scene)
    judged.wait(SECOND)
    judged.check_places()
    judged.hands_off()
    judged.wait(SECOND)
    judged.check_rest()


SET_UP = """
format = 1
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "b" }
[instruments.organ]
output = "strings"
channel = 1
setup = ["controller 11 = 80"]
[[scenes]]
number = 1
name = "Played"
routes = [ { from = "keys", to = "strings" } ]
[[scenes]]
number = 2
name = "Nobody"
"""


@pytest.mark.parametrize("control", [False, True])
def test_rest_is_what_setup_or_a_control_has_set(control: bool) -> None:
    """Expression that a foot has moved goes back to what `setup` sent, or later a control; never to 127 instead."""
    engine, heard = engine_of(read(SET_UP, "test")), AudibleReceiver()
    out = [*output_there(engine, 0, 0), *recall(engine, 0, 1)]
    if control:
        out += apply(engine, 0, SendPreset("strings", (b"\xb0\x0b\x46",)))
    out += [*engine.receive(0, 0, b"\xb0\x0b\x14"), *recall(engine, 0, 2)]
    while engine.waiting and (due := engine.due) is not None:
        out += engine.tick(due)
    for output, message, _ in out:
        heard.hear(0, output, message)
    assert heard.at((0, 0)).told[0xB0, 11] == (70 if control else 80)
