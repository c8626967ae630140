"""Part `idle`: what `bayleaf run` uses while nothing is played: 64 scenes × 20 routes × 3 filters, 36 ports.

With ports in memory, and on a JACK server of its own, where each port is a client with a thread that JACK wakes once
per period, idle or not; there it is compared with a bare python-rtmidi process with as many ports.
"""

import os
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Final

from bench.engine import running
from bench.jackstage import SERVER, Missing, contender, server
from bench.machine import family_time, resident
from bench.result import Cell, Pace, Result, Table, ratio
from bench.rigs import show

_SETTLED: Final = 3.0  # seconds until start and first garbage collection are over
MEMORY, JACK, BARE = "Bayleaf, ports in memory", "Bayleaf, JACK", "bare python-rtmidi, JACK"


def _watched(process: int, seconds: float) -> tuple[float, float]:
    """CPU in % of a core and MB, of a process that has nothing to do."""
    time.sleep(_SETTLED)
    begin, used = time.monotonic(), family_time(process)
    time.sleep(seconds)
    share = 100 * (family_time(process) - used) / (time.monotonic() - begin)
    return share, resident(process)


def run(pace: Pace) -> Result:
    """Measure."""
    result, seconds, rig = Result(), pace.seconds(6), show(64)
    found: dict[str, tuple[float, float]] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bayleaf-bench-")))
        with running(folder, rig, "--backend", "memory", "--virtual") as process:
            found[MEMORY] = _watched(process.pid, seconds)
        try:
            os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
            stack.enter_context(server(folder))
            with running(folder, rig, "--backend", "jack", "--virtual") as process:
                found[JACK] = _watched(process.pid, seconds)
            with contender([sys.executable, "-m", "bench.forwarders", "bare", "idle"], folder) as process:
                found[BARE] = _watched(process.pid, seconds)
        except Missing as fault:
            result.notes.append(f"On JACK nothing was measured: {fault}.")
    result.figures = {"CPU": found[MEMORY][0], "memory": found[MEMORY][1]}
    rows: list[list[Cell]] = []
    for name, (cpu, memory) in found.items():
        beside = found.get(BARE, (None, None)) if name == JACK else (None, None)
        rows.append([name, ratio(cpu, beside[0]), ratio(memory, beside[1]), cpu, memory])
    columns = ["", f"CPU ÷ {BARE}", f"memory ÷ {BARE}", "CPU, % of a core", "resident MB"]
    note = f"{seconds:.0f} s of each, begun {_SETTLED:.0f} s after the start. The targets are for ports in memory."
    result.tables.append(Table("Nobody plays", columns, rows, note))
    return result
