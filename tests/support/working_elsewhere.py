"""A worker process as an engine has it, and what the engine's own process takes in memory meanwhile."""

import contextlib
import tracemalloc
from collections.abc import Iterator

from engine.live.edit.rig_session import Elsewhere
from engine.live.process.worker_process import WorkerProcess


@contextlib.contextmanager
def worker_process() -> Iterator[Elsewhere]:
    """The worker of an engine, until the end of the block."""
    with contextlib.closing(WorkerProcess("engine.live.edit.rig_texts")) as worker:
        yield worker.run


class Taken:
    """Bytes that this process's Python held at the most."""

    most = 0


@contextlib.contextmanager
def memory_taken() -> Iterator[Taken]:
    """What is taken in the block, beyond what was held before; filled in at its end."""
    taken = Taken()
    tracemalloc.start()
    try:
        yield taken
        taken.most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
