"""Part `growth`: what more routes, filters, scenes or ports cost; each is doubled ten times while the others stay.

Cost of a message the first time (cold) and when it was seen before (warm), time to read and compile the rig, memory
that the rig needs; times are CPU times. Each point is measured in a process of its own.
"""

import gc
import multiprocessing
import time
from itertools import count, cycle, islice
from typing import Any, Final

from bench.load import RATE, SECOND, ever_new, messages
from bench.machine import resident
from bench.result import Cell, Pace, Result, Table
from bench.rigs import instruments, ports, route, scene
from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.rig.read.load import read

DOUBLED: Final = 10
_COLD: Final = 300  # messages, or fewer where each takes long
_WARM: Final = 3000
_PATIENCE: Final = 0.4  # seconds a measurement may take
_TRIES: Final = 3
_NOTES: Final = {
    "routes": "All from one input to four outputs, through two filters each; what goes twice to an output goes once.",
    "filters": "All on one route.",
    "scenes": "Four routes and a burst for four instruments each.",
    "ports": "So many inputs and so many outputs, a route from each to each.",
}


def text(kind: str, many: int) -> str:
    """A rig with this many of one thing: routes, filters in one route, scenes, or ports each way."""
    inputs = outputs = many if kind == "ports" else 4
    lines = ["format = 1", *ports(inputs, outputs), *instruments(outputs)]
    if kind == "routes":  # all from one input: the most expensive way
        routed = [route(0, o % outputs, 2) for o in range(many)]
    elif kind == "filters":
        routed = [route(0, 0, many)]
    else:
        routed = [route(i, i, 2) for i in range(inputs)]
    for number in range(1, (many if kind == "scenes" else 1) + 1):
        lines += scene(number, routed, burst=min(4, outputs))
    return "\n".join(lines)


def point(asked: tuple[str, int]) -> dict[str, float]:
    """One rig's figures: µs per message, ms, MB."""
    written = text(*asked)
    gc.collect()
    before, begin = resident(), time.thread_time_ns()
    engine = Engine(compile_rig(read(written, "bench")))
    loaded = time.thread_time_ns()
    gc.collect()
    took = resident() - before
    gc.freeze()
    gc.disable()
    engine.apply(0, RecallScene(1))
    cold, warm = _cost(engine, ever_new(0, _COLD), 1), _cost(engine, messages(0, _COLD), _TRIES)
    return {"warm": warm, "cold": cold, "load": (loaded - begin) / 1e6, "memory": took}


def _cost(engine: Engine, listed: list[bytes], tries: int) -> float:
    """µs per message of the first input; the best of some tries once they are warm."""
    clock, found = count(SECOND, SECOND // RATE), []
    played = cycle(listed)
    if tries > 1:
        listed = listed[: max(3, _race(engine, clock, iter(listed), len(listed))[0] // 3 * 3)]
        played = cycle(listed)
    for _ in range(tries):
        many, took = _race(engine, clock, played, _WARM if tries > 1 else len(listed))
        found.append(took / many)
    return min(found) / 1000


def _race(engine: Engine, clock: Any, played: Any, most: int) -> tuple[int, int]:
    """How many messages, and the ns they took."""
    done, begin = 0, time.thread_time_ns()
    while done < most and time.thread_time_ns() - begin < _PATIENCE * SECOND:
        for message in islice(played, 3):
            engine.receive(next(clock), 0, message)
        done += 3
    return done, time.thread_time_ns() - begin


def run(pace: Pace) -> Result:
    """Measure."""
    result = Result()
    # a server that forks: each process begins with all of this loaded, and with nothing else
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    counts = [1, 16] if pace.quick else [2**step for step in range(DOUBLED + 1)]
    with context.Pool(1, maxtasksperchild=1) as pool:
        base = pool.map(point, [("routes", 1)] * _TRIES, chunksize=1)[-1]
        for kind in ("routes", "filters", "scenes", "ports") if pace.going else ():
            points = pool.map(point, [(kind, many) for many in counts], chunksize=1)
            _add(result, kind, counts, points, base)
    return result


def _add(result: Result, kind: str, counts: list[int], points: list[dict[str, float]], base: dict[str, float]) -> None:
    rows: list[list[Cell]] = []
    for many, each in zip(counts, points, strict=True):
        ratios = [each[name] / base[name] for name in ("warm", "cold", "load")]
        rows.append([many, *ratios, *each.values()])
    names = ["warm", "cold", "load"]
    columns = [kind, *(f"{name} ÷ one of each" for name in names), "warm µs", "cold µs", "load ms", "memory MB"]
    result.tables.append(Table(f"{kind.capitalize()} doubled", columns, rows, _NOTES[kind]))
    result.curves[kind] = {"count": [float(many) for many in counts], **{n: [p[n] for p in points] for n in points[0]}}
    for name in ("warm", "cold", "load"):
        result.figures[f"{kind}: {name}, most ÷ one"] = points[-1][name] / points[0][name]
