"""Part `board`: the engine on a small board. The kernel lets its process have a fifth of one processor, and no more.

That is one millisecond in each five (`cpu.cfs_quota_us` of cgroup version 1, which root may set) at ordinary
scheduling, the finest parts that Linux allows: whatever uses up its millisecond waits for the next one, up to four
milliseconds. So p99 depends on how often that happens: with ten such stops per second, one message in a hundred is more
than three milliseconds late. A slow processor would take five times as long for everything instead, but never stand
still. 8 inputs and 8 outputs in memory, a transposition and a channel map on each route, half a full DIN cable on each
input. And `bayleaf run` with 36 ports while nobody plays, unbounded.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from bench.contenders import BAYLEAF, at_rest, running
from bench.forward import BARE, one_turn
from bench.load import RATE, MemoryPorts, percentiles, rig
from bench.result import Cell, Pace, Result, Table, beside, medians
from bench.rigs import ports, scene
from engine.which_build import build_in_words

PORTS: Final = 8
HALF: Final = RATE // 2  # messages per second of an input
_GROUPS: Final = Path("/sys/fs/cgroup/cpu")
_PERIOD, _QUOTA = 5000, 1000  # µs
_SHARES: Final = 1 << 18  # the most: a board has no other programs, so those of this machine come later
_WARM_UP: Final = 1.5  # seconds
_SETTLED: Final = 5.0  # seconds until a start is over
_INPUTS, _OUTPUTS = 16, 20  # of the engine at rest


def run(pace: Pace) -> Result:
    """Measure, or say why that is not possible. Raises Failed."""
    result = Result()
    try:
        with _fifth() as group:
            _played(pace, result, group)
    except OSError as fault:
        result.notes.append(f"No fifth of a processor: {fault.strerror} ({fault.filename}).")
    _rest(pace, result)
    return result


@contextmanager
def _fifth() -> Iterator[Path]:
    """The file of a control group's processes, which together get a fifth of a processor. Raises OSError."""
    group = _GROUPS / f"bayleaf-bench-{os.getpid()}"
    group.mkdir()
    try:
        (group / "cpu.cfs_period_us").write_text(str(_PERIOD))
        (group / "cpu.cfs_quota_us").write_text(str(_QUOTA))
        (group / "cpu.shares").write_text(str(_SHARES))
        yield group / "cgroup.procs"
    finally:
        group.rmdir()


def _played(pace: Pace, result: Result, group: Path) -> None:
    turns: dict[str, list[dict[str, float]]] = {}
    seconds = str(pace.seconds(5))
    for _ in pace.rounds(3):
        for name in (BAYLEAF, BARE):
            command = [sys.executable, "-m", "bench.board", name, seconds, str(group)]
            turns.setdefault(name, []).append(json.loads(subprocess.check_output(command)))
    rows = {name: medians(listed) for name, listed in turns.items()}
    title = f"{PORTS}×{PORTS} ports at half load, a fifth of one processor, {build_in_words()}"
    note = (
        "µs from the moment at which a message is due at its port until it is handed to the driver; CPU in % of a "
        "core, the players' share with it; stops: how often the process had used up its share, per second; medians."
    )
    result.tables.append(beside(BAYLEAF, rows, ("p50", "p99", "CPU"), title, note))
    result.figures.update({"p99": rows[BAYLEAF]["p99"], "lost": rows[BAYLEAF]["lost"]})


def _rest(pace: Pace, result: Result) -> None:
    seconds = pace.seconds(6)
    with tempfile.TemporaryDirectory(prefix="bayleaf-bench-") as name:
        folder = Path(name)
        memory = _idle(folder, ports(_INPUTS, _OUTPUTS), seconds, "--backend", "memory", "--virtual")
        devices = _idle(folder, _devices(folder), seconds)
    rows: list[list[Cell]] = [["ports in memory", memory], ["byte devices", devices]]
    title = f"Nobody plays: {_INPUTS + _OUTPUTS} ports, {build_in_words()}"
    note = "% of a core. Byte devices (FIFOs here) wake the engine through the kernel, as the ports of ALSA do."
    result.tables.append(Table(title, ["", "CPU"], rows, note))
    result.figures.update({"idle": memory, "idle devices": devices})


def _idle(folder: Path, listed: list[str], seconds: float, *options: str) -> float:
    routes = [f'{{ from = "in{source}", to = "out{source}" }}' for source in range(_INPUTS)]
    text = "\n".join(["format = 1", *listed, *scene(1, routes)])
    with running(folder, text, *options) as process:
        time.sleep(_SETTLED)
        return at_rest(BAYLEAF, process.pid, folder, seconds)


def _devices(folder: Path) -> list[str]:
    """The tables of inputs and outputs, each a FIFO."""
    lines = []
    for kind, count in (("in", _INPUTS), ("out", _OUTPUTS)):
        lines.append(f"[{kind}puts]")
        for place in range(count):
            device = folder / f"{kind}{place}"
            os.mkfifo(device)
            lines.append(f'{kind}{place} = {{ device = "{device}" }}')
    return lines


def _stops(group: Path) -> int:
    """How often its processes had used up their share so far (sched-bwc in Linux's documents)."""
    facts = dict(line.split() for line in (group.parent / "cpu.stat").read_text().splitlines())
    return int(facts["nr_throttled"])


def _turn(name: str, seconds: float, group: Path) -> dict[str, float]:
    """One contender, in this process, which is in the group from the warm-up on."""
    more: dict[str, Any] = {"loaded": rig((), PORTS, PORTS)} if name == BAYLEAF else {}
    memory = MemoryPorts("warm", PORTS, PORTS, HALF)
    group.write_text(str(os.getpid()))
    before = _stops(group)
    found = one_turn(name, seconds, memory, warm_up=_WARM_UP, **more)
    stops = (_stops(group) - before) / (seconds + _WARM_UP)
    due = percentiles(memory.since_due(_WARM_UP))
    return {**due, "CPU": found["CPU"], "stops": stops, "lost": float(memory.lost)}


if __name__ == "__main__":
    print(json.dumps(_turn(sys.argv[1], float(sys.argv[2]), Path(sys.argv[3]))))
