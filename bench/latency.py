"""Part `latency`: from the reader to the driver's send, ports in memory, every input a full DIN cable."""

from contextlib import ExitStack
from functools import partial
from typing import Any, Final

from bench.forward import BARE, BAYLEAF, CONTENDERS, MIDO, one_turn
from bench.load import INPUTS, OUTPUTS, RATE, SHORT, MemoryPorts, Samples, percentiles, rig, tail
from bench.result import Cell, Pace, Result, Table, beside, medians, ratio
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import ORDINARY, undisturbed

SIZES: Final = ((1, 1), (INPUTS, OUTPUTS), (64, 64))
FILTERS: Final = (0, 5, 20)
COMPARED: Final = ("p50", "p99", "p99.9", "CPU")
REAL_TIME: Final = ", real-time"
_NOTE: Final = (
    "µs from reading to the last send; due: from the moment at which a message is due at its port, the wait for a look "
    "included; CPU in % of a core, the players' share with it."
)


def first(scheduling: list[str]) -> ExitStack:
    """The manners of `bayleaf run`; notes the scheduling in force."""
    stack = ExitStack()
    scheduling.append(stack.enter_context(undisturbed()))
    stack.enter_context(collector_at_rest())
    return stack


def turn(
    name: str, pace: Pace, seconds: float, size: tuple[int, int], memory: str, filters: int, **more: Any
) -> dict[str, float]:
    """One contender's."""
    if name == BAYLEAF:
        more["loaded"] = rig((), *size, filters)
    seconds = pace.seconds(seconds)
    ports = MemoryPorts(memory, *size)
    warm_up = 1.4 if memory == "warm" else 0.3  # what repeats has all been seen after 1.1 s
    found = one_turn(name, seconds, ports, warm_up=pace.seconds(warm_up), **more)
    due = percentiles(ports.since_due(pace.seconds(warm_up)))
    return {**found, "due p50": due["p50"], "due p99": due["p99"], "lost": float(ports.lost)}


def heart(pace: Pace, result: Result) -> None:
    """The large rig, a short chain, warm: all contenders, then the same with real-time scheduling."""
    scheduling: list[str] = []
    contenders: list[tuple[str, str, dict[str, Any]]] = [(name, name, {}) for name in CONTENDERS]
    contenders += [(name + REAL_TIME, name, {"manners": partial(first, scheduling)}) for name in (BAYLEAF, BARE)]
    turns: dict[str, list[dict[str, float]]] = {label: [] for label, _, _ in contenders}
    all_times = {label: Samples() for label, _, _ in contenders}
    for _ in pace.rounds(3):
        for label, name, more in contenders:
            samples = Samples()
            turns[label].append(turn(name, pace, 2.0, (INPUTS, OUTPUTS), "warm", SHORT, samples=samples, **more))
            all_times[label].all.extend(samples.all)
    result.curves = {label: tail(samples.all) for label, samples in all_times.items()}
    rows = {label: medians(listed) for label, listed in turns.items()}
    title = f"The large rig ({INPUTS}×{OUTPUTS} ports), short chain, warm"
    ordinary = {name: rows[name] for name in CONTENDERS}
    result.tables.append(beside(BAYLEAF, ordinary, COMPARED, title, _NOTE))
    keep(result, rows, scheduling[0], title)


def keep(result: Result, rows: dict[str, dict[str, float]], scheduling: str, title: str) -> None:
    """Keep the figures that have targets."""
    mine = rows[BAYLEAF]
    result.figures.update({name: mine[name] for name in (*COMPARED, "worst", "due p99", "lost")})
    result.figures["CPU ÷ mido"] = mine["CPU"] / rows[MIDO]["CPU"]
    if scheduling.startswith(ORDINARY):
        result.notes.append(f"With real-time scheduling nothing was measured: {scheduling}.")
        return
    granted = {name: rows[name + REAL_TIME] for name in (BAYLEAF, BARE)}
    result.figures["real-time p99.9"] = granted[BAYLEAF]["p99.9"]
    result.tables.append(beside(BAYLEAF, granted, COMPARED, f"{title}, {scheduling}", _NOTE))


def matrix(pace: Pace, result: Result) -> None:
    """All sizes, chains and memories, one turn each beside a bare forwarder and a mido chain of that size."""
    rows: list[list[Cell]] = []
    sizes = SIZES[:2] if pace.quick else SIZES
    for size in sizes if pace.going else ():
        others = {name: turn(name, pace, 1.0, size, "warm", SHORT) for name in (BARE, MIDO)}
        for filters in FILTERS:
            for memory in ("warm", "cold") if pace.going else ():
                mine = turn(BAYLEAF, pace, 1.0, size, memory, filters, left_over=0.0)
                del mine["lost"]  # what is queued at the end has no time to go out
                ratios = [ratio(mine[each], others[name][each]) for name in others for each in ("p50", "CPU")]
                rows.append([f"{size[0]}×{size[1]}", filters, memory, *ratios, *mine.values()])
    columns = ["ports", "filters", "memory", *(f"÷ {name}: {each}" for name in (BARE, MIDO) for each in ("p50", "CPU"))]
    note = (
        f"{_NOTE} Cold: no message is one that was answered before. The baselines have {SHORT} filters, or none. "
        f"{RATE:,} messages per second come from each input; a higher figure means that it was catching up."
    )
    if rows:
        result.tables.append(Table("All sizes, one turn each", [*columns, *mine], rows, note))


def run(pace: Pace) -> Result:
    """Measure."""
    result = Result()
    heart(pace, result)
    matrix(pace, result)
    return result
