"""Which processors a thread may run on: sched_setaffinity(2). Where a system has no such thing, nothing is changed."""

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

_ALLOWED: Final = frozenset(os.sched_getaffinity(0)) if sys.platform == "linux" else frozenset[int]()


@contextmanager
def one_for_all() -> Iterator[str | None]:
    """The calling thread, and those that it begins meanwhile, share one processor; gives it in words, or None.

    Only one thread at a time can hold Python's lock, and to wake one that waits elsewhere costs more than what it does
    (bench/manners.py). With ordinary scheduling nothing is changed: other programs could then take that processor away.
    """
    if sys.platform != "linux" or len(_ALLOWED) < 2 or os.sched_getscheduler(0) != os.SCHED_FIFO:
        yield None
        return
    here: int = ctypes.CDLL(None).sched_getcpu()
    os.sched_setaffinity(0, {here})
    try:
        yield f"all of the music on processor {here}"
    finally:
        os.sched_setaffinity(0, _ALLOWED)


def any_of_them(process: int = 0) -> None:
    """This thread, or another process (by its id), may run wherever this program was allowed to at its start."""
    if sys.platform == "linux":
        os.sched_setaffinity(process, _ALLOWED)
