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
def one_for_all(place: int = 0) -> Iterator[int | None]:
    """Keep this thread, and those that it starts meanwhile, on one processor. Yields its number, None for any.

    Only one thread at a time can hold Python's lock, and waking a thread on another processor costs more than its work
    (bench/manners.py). Programs on one computer keep to different processors while there are enough: threads of one
    real-time priority on one processor wait for each other without end. `place`, such as a machine's number in its
    rig, says which processor is tried first. With ordinary scheduling nothing is changed: other programs could occupy
    that processor.
    """
    if sys.platform != "linux" or len(_ALLOWED) < 2 or os.sched_getscheduler(0) != os.SCHED_FIFO:
        yield None
        return
    with ExitStack() as claimed:
        here = _claim(place, claimed)
        os.sched_setaffinity(0, {here})
        try:
            yield here
        finally:
            os.sched_setaffinity(0, _ALLOWED)


def _claim(place: int, claimed: ExitStack) -> int:
    """The first processor from this place on that no other program here has claimed; if there is none, that one."""
    every = sorted(_ALLOWED)
    first = place % len(every)
    for processor in (*every[first:], *every[:first]):
        claim = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        try:
            claim.bind(f"{_CLAIM} {processor}")
        except OSError:
            claim.close()
        else:
            claimed.enter_context(claim)
            return processor
    return every[first]


def any_of_them(process: int = 0) -> None:
    """Let this thread, or another process (by its id), run wherever this program could at its start."""
    if sys.platform == "linux":
        os.sched_setaffinity(process, _ALLOWED)
