"""Part `throughput`: deliveries per second as fast as one core can go, without sleeping.

Bayleaf's core (`Engine`, with its cables) and a send for each delivery; its whole show, with reader, meters and flight
recorder; a bare look-up in a table with the sends; a chain of mido objects. Each turn starts afresh. And what the core
takes for the first answer to a message, which it does not remember yet.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import count, cycle, islice
from typing import Any, Final

from bench.forward import mido_way, table_of
from bench.latency import FILTERS, SIZES
from bench.load import INPUTS, OUTPUTS, RATE, SECOND, SHORT, Swallowing, ever_new, outputs_of, played, rig
from bench.result import Cell, Pace, Result, Table, medians, ratio
from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.reader import Arrival
from engine.live.show import Show
from engine.rig.models.rig import Rig

CORE, WHOLE, BARE, MIDO = "core", "whole show", "table look-up", "mido chain"
_BATCH: Final = 64  # messages between looks at the time
_NEW: Final = 6_999  # messages of one input that are all different
_FIRST: Final = 5  # filters of the chain whose first answers are measured, to two outputs
_WIDE: Final = (64, 64)
Size = tuple[int, int]
Batch = list[tuple[int, bytes]]
#: a way to deal with a batch
Way = Callable[[Batch], None]


@cache
def rig_of(size: Size, filters: int) -> Rig:
    """The load's rig with this many inputs and outputs, and filters on each route."""
    inputs, outputs = size
    return rig((), inputs, outputs, filters)


@cache
def script(inputs: int, memory: str) -> list[tuple[int, bytes]]:
    """What the inputs play, in turn."""
    each = [played(source, memory, inputs) for source in range(inputs)]
    return [(source, message) for at_once in zip(*each, strict=True) for source, message in enumerate(at_once)]


def core(outputs: Sequence[Swallowing], size: Size, filters: int) -> Way:
    """The state machine alone, in its own time, as if the messages came at full DIN rate."""
    engine = Engine(compile_rig(rig_of(size, filters)))
    engine.apply(0, RecallScene(1))
    clock, receive = count(SECOND, SECOND // (RATE * size[0])), engine.receive
    sends = [output.send for output in outputs]

    def way(batch: Batch) -> None:
        for source, message in batch:
            for output, made, _ in receive(next(clock), source, message):
                sends[output](made)

    return way


class Handed:
    """A reader that gives the show what was put into it."""

    due: int | None = None
    beat: int | None = None

    def __init__(self) -> None:
        self.lost: list[tuple[int, str]] = []
        self.arrivals: list[Arrival] = []

    def take(self) -> list[Arrival]:
        """See InputReader."""
        taken, self.arrivals = self.arrivals, []
        return taken


def whole(outputs: Sequence[Swallowing], size: Size, filters: int) -> Way:
    """All that `bayleaf run` does with a message after reading it."""
    reader: Any = Handed()
    ports: dict[str, Any] = {f"out{index}": output for index, output in enumerate(outputs)}
    clock = count(SECOND, SECOND // (2 * RATE * size[0])).__next__  # called twice per message
    show = Show(rig_of(size, filters), OpenPorts({}, ports), reader, clock=clock)
    show.apply(RecallScene(1), "shell")

    def way(batch: Batch) -> None:
        now = clock()
        reader.arrivals = [(now, source, message) for source, message in batch]
        show.pump()

    return way


def look_up(outputs: Sequence[Swallowing], size: Size, filters: int) -> Way:
    """A table of what each message of each input sends where; nothing else."""
    known = {
        (source, message): [(outputs[o].send, message) for o in outputs_of(source, *size)]
        for source, message in script(size[0], "warm")
    }

    def way(batch: Batch) -> None:
        for each in batch:
            for send, message in known[each]:
                send(message)

    return way


def objects(outputs: Sequence[Swallowing], size: Size, filters: int) -> Way:
    """See mido_way."""
    forward = mido_way(table_of(size[0], outputs), filters)

    def way(batch: Batch) -> None:
        for source, message in batch:
            forward(source, message)

    return way


WAYS: Final = {CORE: core, WHOLE: whole, BARE: look_up, MIDO: objects}


def turn(name: str, size: Size, filters: int, memory: str, seconds: float) -> float:
    """Deliveries per second of one contender."""
    outputs = [Swallowing(index) for index in range(size[1])]
    way = WAYS[name](outputs, size, filters)
    memory = "warm" if name == BARE else memory
    listed = script(size[0], memory)
    batches = [listed[start : start + _BATCH] for start in range(0, len(listed), _BATCH)]
    if memory == "warm" and name in (CORE, WHOLE):
        for batch in batches:
            way(batch)
    before = sum(output.sent for output in outputs)
    with collector_at_rest():
        took = _race(way, cycle(batches) if memory == "warm" else iter(batches), seconds)
    return (sum(output.sent for output in outputs) - before) / took


def _race(way: Way, batches: Iterator[Batch], seconds: float) -> float:
    """Batches for this long, or as long as there are any; seconds of CPU of this thread."""
    begin, end = time.thread_time(), time.monotonic() + seconds
    while time.monotonic() < end and (some := list(islice(batches, 8))):
        for batch in some:
            way(batch)
    return time.thread_time() - begin


def first_answers() -> dict[str, float]:
    """µs of the core for a message that is answered for the first time, and for the second time."""
    engine = Engine(compile_rig(rig_of((1, 2), _FIRST)))
    engine.apply(0, RecallScene(1))
    clock, receive, new = count(SECOND, SECOND // RATE), engine.receive, ever_new(0, _NEW)
    took: dict[str, float] = {}
    with collector_at_rest():
        for name in ("first answer", "second answer"):
            begin = time.thread_time()
            for message in new:
                receive(next(clock), 0, message)
            took[name] = (time.thread_time() - begin) / len(new) * 1e6
    return took


def _answers(pace: Pace) -> tuple[Table, dict[str, float]]:
    """The table of first answers, and its figures."""
    found = medians([first_answers() for _ in pace.rounds(5)])
    note = f"µs of the thread's own time for a message through {_FIRST} filters to two outputs, medians of five turns."
    return Table("First answers", ["", *found], [["core", *found.values()]], note), found


def run(pace: Pace) -> Result:
    """Measure: all sizes, chains and memories, all contenders in turns."""
    sizes = SIZES[:2] if pace.quick else SIZES
    home = (INPUTS, OUTPUTS)
    chains = [(home, filters) for filters in (*FILTERS, SHORT)]
    chains += [(size, filters) for size in sizes if size != home for filters in FILTERS]
    asked = [(*each, memory) for each in chains for memory in ("warm", "cold")]
    turns: dict[Any, list[dict[str, float]]] = {each: [] for each in asked}
    for number in pace.rounds(3):
        for each in asked:
            if each[0] == home or (number == 0 and pace.going):
                turns[each].append({name: turn(name, *each, pace.seconds(0.15)) for name in WAYS})
    rows: list[list[Cell]] = []
    found = {each: medians(listed) for each, listed in turns.items() if listed}
    for (size, filters, memory), row in found.items():
        ratios = [ratio(row[own], row[other]) for own in (CORE, WHOLE) for other in (BARE, MIDO)]
        rows.append([f"{size[0]}×{size[1]}", filters, memory, *ratios, *row.values()])
    columns = ["ports", "filters", "memory", *(f"{own} ÷ {other}" for own in (CORE, WHOLE) for other in (BARE, MIDO))]
    note = (
        "Deliveries per second of the thread's own time on a core; medians of three turns at the large rig's size, "
        "else one. The table look-up never filters. The whole show is here without its reader and its waits: "
        "what a program costs at real load is in latency and jack."
    )
    figures = {
        "warm": found[home, SHORT, "warm"][CORE],
        "warm, whole show": found[home, SHORT, "warm"][WHOLE],
        "cold": found[home, SHORT, "cold"][CORE],
        "20 filters ÷ none": found[home, 20, "warm"][CORE] / found[home, 0, "warm"][CORE],
    }
    if (wide := found.get((_WIDE, 5, "cold"))) is not None:
        figures["64×64 cold ÷ full rate"] = wide[WHOLE] / (_WIDE[0] * RATE)
    answers, more = _answers(pace)
    return Result([Table("Deliveries per second", [*columns, *WAYS], rows, note), answers], figures | more)
