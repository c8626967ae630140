"""Asks the system to run the music before other programs, with real-time scheduling.

Source: sched(7), SCHED_FIFO and RLIMIT_RTPRIO. Threads that start later inherit it; a program that is started gives it
up (`engine.give_way`).
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from engine.processor import one_for_all

_PRIORITY: Final = 10  # of 1 to 99; sound servers have a higher one
ORDINARY: Final = "ordinary scheduling"


@contextmanager
def going_first() -> Iterator[str]:
    """For the calling thread and those that it starts meanwhile; yields the scheduling in force, in words."""
    if sys.platform != "linux":
        yield f"{ORDINARY}: Bayleaf asks for no other on this system"
        return
    policy, before = os.sched_getscheduler(0), os.sched_getparam(0)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(_PRIORITY))
    except OSError:
        yield f"{ORDINARY}: this login may not ask for real-time scheduling (rtprio, see limits.conf)"
        return
    try:
        yield f"real-time scheduling, priority {_PRIORITY}"
    finally:
        os.sched_setscheduler(0, policy, before)


@contextmanager
def undisturbed(number: int | None = None) -> Iterator[str]:
    """The same for the loop's thread and the reader's, both on one processor; `number`: see `one_for_all`."""
    with going_first() as scheduling, one_for_all(number):
        yield scheduling
