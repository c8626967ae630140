"""Parameters as units, over scene changes and cables that are full: none is ever torn.

The judge is a receiver written from MIDI 1.0. Each parameter has one value that anybody ever sets it to, so data that
reached another parameter than its own shows at once.
"""

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.parameter_receiver import ParameterReceiver
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

RIG = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c", wire = "din" }
brass = { port = "d" }
[instruments.lead]
output = "strings"
channel = 1
[instruments.horn]
output = "brass"
channel = 1
[[scenes]]
number = 1
name = "Both on one"
routes = [{ from = ["keys", "pads"], to = "strings", through = [{ filter = "channels", map = { 2 = 1 } }] }]
enter = [{ on = "lead", send = ["nrpn 90/1 = VALUE / 14"] }]
[[scenes]]
number = 2
name = "Crossed"
routes = [{ from = "keys", to = "brass" }, { from = "pads", to = ["strings", "brass"] }]
enter = [{ on = "horn", send = ["rpn 90/2 = OTHER / 14"] }]
leave = [{ on = "lead", send = ["nrpn 90/1 = VALUE / 14"] }]
[[scenes]]
number = 3
name = "Line and filter"
play = [{ from = "keys", on = "lead", through = [{ filter = "parameters", drop = ["nrpn 2/3"] }] }]
routes = [{ from = "pads", to = "strings", through = [{ filter = "thin", milliseconds = 20 }] }]
[[scenes]]
number = 4
name = "Silence"
"""


def _value(kind: str, msb: int, lsb: int) -> tuple[int, int]:
    """What this parameter is always set to."""
    return (msb * 7 + lsb * 3 + (kind == "rpn")) % 120 + 1, (msb * 5 + lsb) % 120 + 1


def _rig() -> str:
    value, other = _value("nrpn", 90, 1), _value("rpn", 90, 2)
    return RIG.replace("VALUE", str(value[0] << 7 | value[1])).replace("OTHER", str(other[0] << 7 | other[1]))


def _unit(kind: str, msb: int, lsb: int, long: bool) -> list[tuple[int, int]]:
    high, low = (101, 100) if kind == "rpn" else (99, 98)
    data = _value(kind, msb, lsb)
    return [(high, msb), (low, lsb), (6, data[0]), *([(38, data[1])] if long else [])]


_units = st.builds(_unit, st.sampled_from(["rpn", "nrpn"]), st.integers(0, 3), st.integers(2, 5), st.booleans())
#: whose stream: the input, and its channel
_HANDS = ((0, 0), (1, 0), (0, 1))
_streams = st.tuples(*(st.lists(_units, max_size=8) for _ in _HANDS))
_steps = st.lists(
    st.one_of(
        st.sampled_from([0, 0, 0, 1, 1, 1, 2, 2]),  # whose next message
        st.sampled_from(["scene 1", "scene 2", "scene 3", "scene 4", "chord", "wait"]),
    ),
    max_size=80,
)


@settings(max_examples=60)
@given(_streams, _steps)
def test_a_unit_is_never_torn(streams: tuple[list[list[tuple[int, int]]], ...], steps: list[int | str]) -> None:
    """Two players' units come in turns, one's on two channels that some scenes make one, while scenes change, set
    parameters of their own, and notes fill the cable."""
    engine = PlayedEngine(_rig())
    coming = [[message for unit in stream for message in unit] for stream in streams]
    for step in [*steps, *(source for source in range(len(_HANDS)) for _ in coming[source])]:
        if step == "chord":
            engine.chord(0, 0, 40)
            engine.let_go(0)
        elif step == "wait":
            engine.wait(30 * MS)
        elif isinstance(step, str):
            engine.recall(int(step[-1]))
        elif coming[step]:
            source, channel = _HANDS[step]
            engine.play(source, bytes((0xB0 | channel, *coming[step].pop(0))))
    engine.run_dry()
    for output in (0, 1):
        receivers = ParameterReceiver(), ParameterReceiver()
        for _, message, _ in engine.heard(output):
            if message[0] in (0xB0, 0xB1):
                receivers[message[0] & 0x0F].hear(message)
        for (kind, msb, lsb), high, low in receivers[0].log + receivers[1].log:
            if kind != "controller":
                wanted = _value(kind, msb, lsb)
                assert (high, low) in ((wanted[0], 0), wanted), f"{kind} {msb}/{lsb} was set to {high}, {low}"
