"""Filters that count beats follow the tempo in force. (A minute has 60 seconds; a beat is a quarter note.)"""

from engine.core.engine import Engine
from engine.core.routing.sent_values import SentValues
from engine.core.routing.show_in_force import ShowInForce
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, engine_of, recall, sync
from tests.support.pit_engine import MS

RIG = """
format = 2
[inputs]
keys = { port = "a" }
[outputs]
lead = { port = "b" }
SYNC
[[scenes]]
number = 1
name = "Echo"
routes = [{ from = "keys", to = "lead", through = [{ filter = "echo", beats = 1, repeats = 1, fade = 0 }] }]
"""
CLOCK = '[sync.clock]\nbpm = 60\nto = "lead"'


def _repeat_of(engine: Engine, now: int) -> int:
    """How long after a key the repeat comes, in ms; the key is released, and nothing is left to be sent."""
    engine.receive(now, 0, b"\x90\x3c\x40")
    due = engine.state.delayed.due
    assert due is not None
    engine.receive(now, 0, b"\x80\x3c\x40")
    for _ in range(2):
        engine.tick(due)
    assert engine.state.delayed.due is None
    return (due - now) // MS


def test_an_echo_follows_the_rigs_own_clock() -> None:
    """At 60 beats per minute a beat is a second, and half a second once the clock is set to 120."""
    engine = engine_of(read(RIG.replace("SYNC", CLOCK), "test"))
    recall(engine, 0, 1)
    assert _repeat_of(engine, 0) == 1000
    sync(engine, 5_000 * MS, "clock", "tempo", 120)
    assert _repeat_of(engine, 5_000 * MS) == 500


def test_an_echo_follows_the_tempo_of_an_edited_rig() -> None:
    """The filters of a scene that an edit did not touch follow the new tempo, too."""
    engine = engine_of(read(RIG.replace("SYNC", CLOCK), "test"))
    recall(engine, 0, 1)
    adopt(engine, 1, read(RIG.replace("SYNC", CLOCK.replace("60", "240")), "test"))
    assert _repeat_of(engine, 10) == 250


def test_an_echo_follows_the_clock_that_comes_in() -> None:
    """Without a clock of its own a rig has the tempo of the input that sends one: 24 clocks are a beat (MIDI 1.0 p.
    30). Before that it is 120 beats per minute."""
    engine = engine_of(read(RIG.replace("SYNC", ""), "test"))
    recall(engine, 0, 1)
    assert _repeat_of(engine, 0) == 500
    apart = 60_000 * MS // (90 * 24)
    for number in range(48):
        engine.receive(2_000 * MS + number * apart, 0, b"\xf8")
    assert abs(_repeat_of(engine, 2_000 * MS + 48 * apart) - 60_000 // 90) <= 1


def test_without_a_show_the_tempo_is_the_one_given() -> None:
    """Until it follows a show, and while that knows no tempo, the tempo is the one it was made with."""
    show, values = ShowInForce(90.0), SentValues()
    assert show.tempo(0) == 90.0
    show.follow(lambda now: None, values, lambda source: (), dict, lambda source, manager: None)
    assert show.tempo(0) == 90.0
    show.follow(lambda now: 61.0, values, lambda source: (), dict, lambda source, manager: None)
    assert show.tempo(0) == 61.0
