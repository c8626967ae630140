"""A note owns its gesture: what shapes it comes from the hand that plays it until it is silent, whatever is recalled.

What is audible is judged by a receiver and a judge that know nothing of the engine (`tests/support/judged_engine.py`).
"""

import pytest

from engine.core.commands import SendPreset
from engine.rig.read.load import read
from tests.support.audible_receiver import AudibleReceiver
from tests.support.engine_calls import apply, engine_of, output_there, recall
from tests.support.judged_engine import MS

SECOND = 1000 * MS
ONE, OTHER, PLACE = (0, 0), (1, 0), (0, 0)
VOLUME, EXPRESSION, SUSTAIN = (0xB0, 7), (0xB0, 11), (0xB0, 64)


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
