"""Part `start`: from the start of the process to the first message that comes out, 64 scenes × 20 routes × 3 filters.

The first input and the first output are FIFOs. Notes are written to the one until something comes out of the other.
In turns with it: a Python script that copies bytes from FIFO to FIFO, which is the lower limit, and one that first
imports python-rtmidi and mido, as a script for MIDI does.
"""

import os
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, Final

from bench.contenders import BAYLEAF, running
from bench.result import Pace, Result, beside
from bench.rigs import show

_COPY: Final = """
import os, sys
{imports}
source, target = os.open(sys.argv[1], os.O_RDWR), os.open(sys.argv[2], os.O_RDWR)
while True:
    os.write(target, os.read(source, 65536))
"""
_AGAIN: Final = 0.002  # seconds between notes
_DEADLINE: Final = 60.0
COPY, MIDO = "script that copies bytes", "the same, rtmidi and mido imported"


class Fifos:
    """The two FIFOs, and a way to empty them."""

    def __init__(self, folder: Path) -> None:
        self.paths = str(folder / "in"), str(folder / "out")
        for path in self.paths:
            os.mkfifo(path)
        self._source, self._target = (os.open(path, os.O_RDWR | os.O_NONBLOCK) for path in self.paths)

    def empty(self) -> None:
        """Remove what is left of an earlier turn."""
        for handle in (self._source, self._target):
            while select.select([handle], [], [], 0)[0]:
                os.read(handle, 65536)

    def first(self) -> float:
        """Play until something comes out; returns when it did (s)."""
        end = time.monotonic() + _DEADLINE
        while not select.select([self._target], [], [], _AGAIN)[0]:
            assert time.monotonic() < end, "nothing came out"
            if not select.select([self._source], [], [], 0)[0]:  # a reader would have taken the last one
                os.write(self._source, b"\x90\x3c\x40\x80\x3c\x40")
        return time.monotonic()

    def close(self) -> None:
        """Close them."""
        os.close(self._source)
        os.close(self._target)


@contextmanager
def _script(imports: str, paths: tuple[str, str]) -> Any:
    process = subprocess.Popen([sys.executable, "-c", _COPY.format(imports=imports), *paths])
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def run(pace: Pace) -> Result:
    """Measure."""
    times: dict[str, list[float]] = {BAYLEAF: [], COPY: [], MIDO: []}
    with tempfile.TemporaryDirectory(prefix="bayleaf-bench-") as name:
        folder = Path(name)
        fifos = Fifos(folder)
        rig = show(64, devices=fifos.paths)
        starts: dict[str, Callable[[], AbstractContextManager[Any]]] = {
            BAYLEAF: lambda: running(folder, rig, "--backend", "memory", "--virtual"),
            COPY: lambda: _script("", fifos.paths),
            MIDO: lambda: _script("import rtmidi, mido", fifos.paths),
        }
        for _ in pace.rounds(5):
            for each, start in starts.items():
                fifos.empty()
                begin = time.monotonic()
                with start():
                    times[each].append(1000 * (fifos.first() - begin))
        fifos.close()
    rows = {
        each: {"median": sorted(listed)[len(listed) // 2], "least": min(listed), "most": max(listed)}
        for each, listed in times.items()
    }
    note = "ms from the start of the process."
    table = beside(BAYLEAF, rows, ("median",), "Start to first routed message", note)
    return Result([table], {"first message": rows[BAYLEAF]["median"]})
