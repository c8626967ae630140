"""Rigs for the core's tests, and functions that run them through time."""

from collections.abc import Iterable
from functools import cache

from engine.core.cable.output_cable import Delivery
from engine.core.engine import Engine
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of
from tests.support.receiver import Receiver

MS = 1_000_000

PORTS = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
foot = { port = "c" }
[outputs]
strings = { port = "d", wire = "WIRE" }
brass = { port = "e" }
[instruments.lead]
output = "strings"
channel = 1
settle = "30 ms"
sounds = { "A" = { bank = [1, 11], program = 21 }, "B" = { bank = [2, 12], program = 22 } }
[instruments.second]
output = "strings"
channel = 2
settle = "5 ms"
sounds = { "A" = { bank = [1, 11], program = 31 }, "B" = { bank = [2, 12], program = 32 } }
"""

#: three scenes that route the same two inputs in different ways
SCENES = """
[[routes]]
from = "foot"
to = "brass"
[[scenes]]
number = 1
name = "Straight"
routes = [ { from = ["keys", "pads"], to = ["strings", "brass"] } ]
burst = [ { instrument = "lead", sound = "A" }, { instrument = "second", sound = "A" } ]
[[scenes]]
number = 2
name = "Moved"
routes = [
  { from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 7, outside = "fold" } ] },
  { from = "keys", to = "brass", through = [
    { filter = "zone", notes = [40, 70], velocity = [20, 127] },
    { filter = "channels", map = { 1 = 3, 2 = 3 } },
  ] },
  { from = "pads", to = "strings", through = [
    { filter = "notes", map = { 36 = 60, 38 = 62 } },
    { filter = "velocity", range = [30, 90] },
  ] },
]
burst = [ { instrument = "lead", sound = "B" }, { instrument = "second", sound = "B" } ]
[[scenes]]
number = 3
name = "Nothing"
[[controls]]
input = "foot"
when = { program = "any" }
do = "scene"
"""


def engine(extra: str = SCENES, cable: str = "fast") -> Engine:
    """A router with these scenes; no scene is recalled yet."""
    return engine_of(_read(PORTS.replace("WIRE", cable) + extra))


#: rigs never change, so what was read once serves every example of a property
@cache
def _read(text: str) -> Rig:
    return read(text, "test")


def hexed(deliveries: Iterable[Delivery], output: int | None = None) -> list[str]:
    """The messages (of one output), as text."""
    return [message.hex(" ").upper() for to, message, _ in deliveries if output is None or to == output]


def run_dry(router: Engine, now: int) -> tuple[int, list[Delivery]]:
    """Let time pass until nothing is queued; returns the time then, and what came out."""
    out: list[Delivery] = []
    for _ in range(100_000):
        due = router.due
        if due is None or not router.waiting:
            return now, out
        assert due > now or not out, "a tick must not ask to be called again at once"
        now = max(now, due)
        out += router.tick(now)
        assert router.due is None or router.due > now
    raise AssertionError("the wires never run dry")


def ears(deliveries: Iterable[Delivery], outputs: int = 2) -> list[Receiver]:
    """One receiver per output, after it has received all this."""
    heard = [Receiver() for _ in range(outputs)]
    for output, message, _ in deliveries:
        heard[output].hear(message)
    return heard
