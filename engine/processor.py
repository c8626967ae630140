"""Which processors a thread may run on: sched_setaffinity(2). On systems without it nothing is changed."""

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

_ALLOWED: Final = frozenset(os.sched_getaffinity(0)) if sys.platform == "linux" else frozenset[int]()


@contextmanager
def one_for_all() -> Iterator[int | None]:
    """Keep this thread, and those that it starts meanwhile, on one processor. Yields its number, None for any.

    Only one thread at a time can hold Python's lock, and waking a thread on another processor costs more than its work
    (bench/manners.py). With ordinary scheduling nothing is changed: other programs could occupy that processor.
    """
    if sys.platform != "linux" or len(_ALLOWED) < 2 or os.sched_getscheduler(0) != os.SCHED_FIFO:
        yield None
        return
    here: int = ctypes.CDLL(None).sched_getcpu()
    os.sched_setaffinity(0, {here})
    try:
        yield here
    finally:
        os.sched_setaffinity(0, _ALLOWED)


def any_of_them(process: int = 0) -> None:
    """Let this thread, or another process (by its id), run wherever this program could at its start."""
    if sys.platform == "linux":
        os.sched_setaffinity(process, _ALLOWED)
