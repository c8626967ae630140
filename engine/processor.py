"""Which processors a thread may run on: sched_setaffinity(2). On systems without it nothing is changed."""

import os
import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Final

_ALLOWED: Final = frozenset(os.sched_getaffinity(0)) if sys.platform == "linux" else frozenset[int]()

#: a name that only one socket can have, and that ends with its program (unix(7), abstract)
_CLAIM: Final = "\0bayleaf processor"


@contextmanager
def one_for_all(number: int | None = None) -> Iterator[int | None]:
    """Keep this thread, and those that it starts meanwhile, on one processor. Yields its number, None for any.

    Only one thread at a time can hold Python's lock, and waking a thread on another processor costs more than its work
    (bench/manners.py). Programs on one computer keep to different processors, since threads of one real-time priority
    wait for each other on a processor: those of one rig by their `number`, the others take one that is free. With
    ordinary scheduling nothing is changed: other programs could occupy that processor.
    """
    if sys.platform != "linux" or len(_ALLOWED) < 2 or os.sched_getscheduler(0) != os.SCHED_FIFO:
        yield None
        return
    every = sorted(_ALLOWED)
    wanted = every if number is None else [every[number % len(every)]]
    with ExitStack() as claimed:
        free = (processor for processor in wanted if _claim(processor, claimed))
        here = next(free, wanted[os.getpid() % len(wanted)])
        os.sched_setaffinity(0, {here})
        try:
            yield here
        finally:
            os.sched_setaffinity(0, _ALLOWED)


def _claim(processor: int, claimed: ExitStack) -> bool:
    """Say that this program keeps to a processor; False if another one does."""
    claim = claimed.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM))
    try:
        claim.bind(f"{_CLAIM} {processor}")
    except OSError:
        return False
    return True


def any_of_them(process: int = 0) -> None:
    """Let this thread, or another process (by its id), run wherever this program could at its start."""
    if sys.platform == "linux":
        os.sched_setaffinity(process, _ALLOWED)
