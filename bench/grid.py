"""Part `grid`: how far our own clock and time code are off their grids when they reach the driver, and how they drift.

Clock at 120 beats per minute and time code at 29.97 drop by the show as `bayleaf run` plays it, ports in memory; beside
them a loop that sleeps with `time.sleep` until each clock is due. Each turn is a process of its own, alternately at
ordinary and at real-time scheduling. Part `hour` is the same for an hour, all at once.
"""

import math
import multiprocessing
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from typing import Any, Final, NamedTuple

import trio

from bench.load import SECOND, Swallowing, percentiles, tail
from bench.result import Pace, Result, Table, medians, ratio
from engine.core.commands import Begin, RecallScene
from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import ORDINARY, undisturbed
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.port import OutputPort
from engine.rig.read.load import read

CLOCK, CODE, BARE = "clock", "time code", "bare sleep loop"
BPM: Final = 120
SPACING: Final = {CLOCK: 60e9 / (24 * BPM), CODE: 1001 / 30000 / 4 * 1e9, BARE: 60e9 / (24 * BPM)}
WARM_UP: Final = 1.0  # seconds that do not count
_RIG: Final = f"""
format = 1
[outputs]
clock = {{ port = "unused" }}
code = {{ port = "unused too" }}
[sync.clock]
bpm = {BPM}
to = ["clock"]
run = true
[sync.timecode]
rate = "29.97 drop"
to = ["code"]
run = true
[[scenes]]
number = 1
name = "Only"
"""
_PIECES: Final = 8  # quarter frames of two frames, numbered in their first four bits


class Handed(NamedTuple):
    """When the first was due, and when each was handed over (ns); of quarter frames also which piece each was."""

    due: int
    times: Sequence[int]
    pieces: Sequence[int] = ()


Times = dict[str, Handed]


class Timed(Swallowing):
    """An output that notes when each clock or quarter frame arrives, and may hand it on to a port."""

    def __init__(self, index: int, port: OutputPort | None = None) -> None:
        super().__init__(index)
        self.handed: list[int] = []
        self.pieces: list[int] = []
        self._port = port or Swallowing(index)
        self.flow, self.longest = self._port.flow, self._port.longest

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        if message[0] in (0xF8, 0xF1):
            self.handed.append(time.monotonic_ns())
            if message[0] == 0xF1:
                self.pieces.append(message[1] >> 4)
        self._port.send(message)

    def close(self) -> None:
        """See OutputPort."""
        self._port.close()


def own(seconds: float, clock: Timed, code: Timed) -> Times:
    """Our clock and our time code, in one show."""
    origins: list[int] = []

    async def play() -> None:
        inbox = InputReader({})
        ports: Any = {"clock": clock, "code": code}
        show = Show(read(_RIG, "bench"), OpenPorts({}, ports), inbox)
        show.apply(RecallScene(1), "shell")
        show.apply(Begin())
        sync: Any = show.engine.state.sync
        origins.extend((sync.clock.due, sync.code.due))
        inbox.start(waker(show))
        await trio.sleep(seconds + WARM_UP)
        inbox.stop()

    music_loop.run(play)
    return {CLOCK: Handed(origins[0], clock.handed), CODE: Handed(origins[1], code.handed, code.pieces)}


def bare(seconds: float, port: Timed, _: Timed) -> Times:
    """Nothing but a loop that sleeps until the next clock is due."""
    begin, number = time.monotonic_ns(), 0
    while time.monotonic_ns() < begin + (seconds + WARM_UP) * SECOND:
        time.sleep(max(0.0, (begin + number * SPACING[BARE] - time.monotonic_ns()) / SECOND))
        port.send(b"\xf8")
        number += 1
    return {BARE: Handed(begin, port.handed)}


WAYS: Final[dict[str, Callable[[float, Timed, Timed], Times]]] = {"own": own, "bare": bare}


def turn(asked: tuple[str, bool, float]) -> tuple[str, Times]:
    """One process's turn: the contender, whether with real-time scheduling, how long. Its scheduling, and times."""
    way, first, seconds = asked
    with ExitStack() as stack:
        scheduling = stack.enter_context(undisturbed()) if first else ORDINARY
        stack.enter_context(collector_at_rest())
        return scheduling, WAYS[way](seconds, Timed(0), Timed(1))


def off(name: str, handed: Handed) -> list[tuple[int, float]]:
    """For each one after the warm-up, its number on the grid and how late it was (ns).

    A clock's number is how many came before it: if one is left out, all that follow are late by a whole period. After a
    stall our time code leaves out what is past, so a quarter frame has the last number that was due for such a piece.
    """
    origin, times, pieces = handed
    spacing, begin = SPACING[name], origin + WARM_UP * SECOND
    numbers: Iterable[int] = range(len(times))
    if name == CODE:
        due = [math.floor((at - origin) / spacing + 0.25) for at in times]
        numbers = [last - (last - piece) % _PIECES for last, piece in zip(due, pieces, strict=True)]
    return [(number, at - origin - number * spacing) for number, at in zip(numbers, times, strict=True) if at >= begin]


def figures(name: str, found: Sequence[tuple[int, float]]) -> dict[str, float]:
    """µs off the grid; how many are missing, at the end or in between; drift."""
    numbers = [number for number, _ in found]
    distances = [abs(late) for _, late in found]
    left_out = numbers[-1] - numbers[0] + 1 - len(set(numbers))
    owed = 0 if name == CODE else max(0, round(found[-1][1] / SPACING[name]))  # by the last one
    missing = left_out + owed
    drift = _drift(found)
    return {
        **percentiles(distances),
        "missing": float(missing),
        "drift, ppm": 1e6 * drift / SPACING[name],
        "drift, µs in all": drift * (numbers[-1] - numbers[0]) / 1000,
    }


def _drift(points: Sequence[tuple[int, float]]) -> float:
    """Nanoseconds per clock: how much later the punctual ones of the last third are than those of the first.

    Each is late by the time that waking up takes, now more, now less; the punctual ones are those at the tenth
    percentile.
    """
    third = max(1, len(points) // 3)
    thirds = points[:third], points[-third:]
    punctual = [sorted(late for _, late in some)[len(some) // 10] for some in thirds]
    middles = [some[len(some) // 2][0] for some in thirds]
    return (punctual[1] - punctual[0]) / max(1, middles[1] - middles[0])


def run(pace: Pace) -> Result:
    """Measure."""
    seconds = pace.seconds(10)
    rows, late, schedulings, turns = measure({"own": seconds, "bare": seconds / 2}, pace.rounds(2), at_once=False)
    note = f"medians of {turns} turn{'s' * (turns > 1)} of {seconds:,.0f} s"
    figures = {"clock p99": rows[CLOCK]["p99"], **lost(rows)}
    if any(not scheduling.startswith(ORDINARY) for scheduling in schedulings):
        figures["clock p99, real-time"] = rows[f"{CLOCK}, real-time"]["p99"]
    curves = {label: tail(times) for label, times in late.items()}
    return Result([table(rows, note, schedulings)], figures, [], curves)


def lost(rows: dict[str, dict[str, float]]) -> dict[str, float]:
    """What must not happen at any scheduling: how late the worst of our own is (ms), and how many never came."""
    own = [row for label, row in rows.items() if not label.startswith(BARE)]
    return {"missing": sum(row["missing"] for row in own), "worst": max(row["worst"] for row in own) / 1000}


def measure(
    lengths: dict[str, float], rounds: Iterable[int], at_once: bool
) -> tuple[dict[str, dict[str, float]], dict[str, list[float]], set[str], int]:
    """Each contender for this many seconds, with and without real-time scheduling, each in a process of its own.

    Gives medians of the figures, all times off the grid (ns), the schedulings in force, and the number of rounds.
    """
    each = [(way, first, lengths[way]) for first in (False, True) for way in WAYS]
    asked, found = [], []
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    with context.Pool(len(each) if at_once else 1, maxtasksperchild=1) as pool:
        for _ in rounds:
            asked += each
            found += pool.map(turn, each, chunksize=1)
    rows: dict[str, list[dict[str, float]]] = {}
    late: dict[str, list[float]] = {}
    for (_, first, _), (_, times) in zip(asked, found, strict=True):
        for name, handed in times.items():
            label = name + (", real-time" if first else "")
            placed = off(name, handed)
            rows.setdefault(label, []).append(figures(name, placed))
            late.setdefault(label, []).extend(abs(each) for _, each in placed)
    schedulings = {scheduling for scheduling, _ in found}
    return {label: medians(listed) for label, listed in rows.items()}, late, schedulings, len(asked) // len(each)


def table(rows: dict[str, dict[str, float]], note: str, schedulings: set[str]) -> Table:
    """Our own clock and time code compared with the bare loop."""
    listed = []
    for label, row in sorted(rows.items(), key=lambda each: list(SPACING).index(each[0].partition(",")[0])):
        floor = rows[BARE + (", real-time" if label.endswith("real-time") else "")]
        listed.append([label, *(ratio(row[each], floor[each]) for each in ("p50", "p99")), *row.values()])
    columns = ["", *(f"÷ {BARE}: {each}" for each in ("p50", "p99")), *next(iter(rows.values()))]
    note = f"µs off the grid, {note}, ports in memory. Scheduling: {'; '.join(sorted(schedulings))}."
    return Table("Clock and time code against their grids", columns, listed, note)
