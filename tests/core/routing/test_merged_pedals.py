"""A pedal that a player moves alone is noted in a shorter way; nothing that anybody hears or asks for may tell."""

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, input_lost, output_there, recall

RIG = """format = 2
[inputs]
one = { port = "a" }
two = { port = "b" }
[outputs]
s = { port = "c" }
t = { port = "d" }
[instruments.pad]
output = "t"
channel = 1
setup = ["controller 67 = 100"]
[[scenes]]
number = 1
name = "Together"
routes = [ { from = "one", to = "s" }, { from = "one", to = "t" }, { from = "two", to = "s" } ]
[[scenes]]
number = 2
name = "Apart"
routes = [
  { from = "one", to = "s" },
  { from = "two", to = "t", through = [ { filter = "controllers", range = { 64 = [0, 100] } } ] },
]
enter = [ { to = "t", send = ["B0 42 7F"] } ]
"""
_MS = 1_000_000
_pedal = st.builds(
    lambda number, value: bytes((0xB0, number, value)),
    st.sampled_from((64, 64, 64, 66, 67)),
    st.sampled_from((0, 0, 1, 40, 64, 127)),
)
_note = st.sampled_from((b"\x90\x3c\x40", b"\x80\x3c\x40"))
_message = st.one_of(_pedal, _pedal, _pedal, _note, st.just(b"\xb0\x79\x00"))
_played = st.tuples(st.integers(0, 1), _message)
_deed = st.one_of(_played, _played, _played, st.integers(1, 2), st.sampled_from(("back", "gone")))


@given(st.lists(_deed, min_size=6, max_size=24))
@settings(max_examples=150)
def test_a_pedal_that_was_looked_for_others_sends_and_notes_the_same(deeds: list[Any]) -> None:
    """Two engines get the same, and one of them looks each time whether anybody else has a word in a pedal."""
    rig = read(RIG, "here")
    engines = [engine_of(rig), engine_of(rig)]
    now = 0
    for engine in engines:
        recall(engine, 0, 1)
    for deed in deeds:
        now += 40 * _MS
        _look_for_others(engines[1])
        sent = [_done(engine, now, deed) for engine in engines]
        assert sent[0] == sent[1]
        assert _known(engines[0]) == _known(engines[1])


def test_what_was_released_without_a_pedal_does_not_ring_under_a_later_one() -> None:
    """A pedal is down on one channel, a key goes up on another one, and then the pedal of that goes down."""
    engine = engine_of(read(RIG, "here"))
    recall(engine, 0, 1)
    for number, message in enumerate(("B0 40 7F", "91 3C 40", "81 3C 40", "B1 40 7F")):
        engine.receive(number * 40 * _MS, 0, bytes.fromhex(message))
    assert engine.state.ledger.notes.ringing.channels() == set()
    for number, message in enumerate(("91 3E 40", "81 3E 40")):
        engine.receive(number * 40 * _MS, 0, bytes.fromhex(message))
    assert engine.state.ledger.notes.ringing.channels() == {(0, 1), (1, 1)}


def _done(engine: Engine, now: int, deed: Any) -> list[Any]:
    if isinstance(deed, tuple):
        sent = engine.receive(now, *deed)
    elif deed == "back":
        sent = output_there(engine, now, 1)
    elif deed == "gone":
        sent = input_lost(engine, now, 0)
    else:
        sent = recall(engine, now, deed)
    return [*sent, *engine.tick(now + _MS)]


def _look_for_others(engine: Engine) -> None:
    pedals = engine.state.ledger.pedals
    for way in [*pedals.alone]:
        pedals.meet(way.moved[0])


def _known(engine: Engine) -> list[Any]:
    ledger = engine.state.ledger
    held = {pedal: ledger.pedals.hands(pedal) for pedal in ledger.pedals.all()}
    ringing = ledger.notes.ringing
    return [held, ledger.sent.values, ringing.held, ringing.channels(), ledger.off_rest()]
