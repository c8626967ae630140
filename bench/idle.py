"""Part `idle`: what `bayleaf run` uses while nothing is played: 64 scenes × 20 routes × 3 filters, 36 ports.

With ports in memory, and on a JACK server of its own, which wakes a thread of each client once per period, idle or not;
there it is compared with a bare python-rtmidi process, in which each of as many ports is a client.
"""

import os
import subprocess
import sys
import tempfile
import time
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import Final

from bench.contenders import at_rest, contender, running
from bench.jackstage import SERVER, Missing, server
from bench.machine import resident
from bench.result import Cell, Pace, Result, Table, ratio
from bench.rigs import show

_SETTLED: Final = 3.0  # seconds until start and first garbage collection are over
MEMORY, JACK, BARE = "Bayleaf, ports in memory", "Bayleaf, JACK", "bare python-rtmidi, JACK"


def _watched(
    name: str, begun: AbstractContextManager[subprocess.Popen[bytes]], folder: Path, seconds: float
) -> tuple[float, float]:
    """CPU in % of a core and MB, of a process that has nothing to do."""
    with begun as process:
        time.sleep(_SETTLED)
        return at_rest(name, process.pid, folder, seconds), resident(process.pid)


def run(pace: Pace) -> Result:
    """Measure. Raises Failed."""
    result, seconds, rig = Result(), pace.seconds(6), show(64)
    found: dict[str, tuple[float, float]] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bayleaf-bench-")))
        begun = running(folder, rig, "--backend", "memory", "--virtual")
        found[MEMORY] = _watched(MEMORY, begun, folder, seconds)
        try:
            os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
            stack.enter_context(server(folder))
            begun = running(folder, rig, "--backend", "jack", "--virtual")
            found[JACK] = _watched(JACK, begun, folder, seconds)
            begun = contender(BARE, [sys.executable, "-m", "bench.forwarders", "bare", "idle"], folder)
            found[BARE] = _watched(BARE, begun, folder, seconds)
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
