"""Goes before other programs, where the system lets it.

Source: sched(7), SCHED_FIFO and RLIMIT_RTPRIO. Threads that begin later go first, too; a program that is started gives
it back (`give_way` in engine/panel/panel_supervisor).
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from engine.processor import one_for_all

_PRIORITY: Final = 10  # of 1 to 99: sound servers stand above it
ORDINARY: Final = "ordinary scheduling"


@contextmanager
def going_first() -> Iterator[str]:
    """In the calling thread and those that begin in the meantime; gives what is in force, for whoever asks."""
    if sys.platform != "linux":
        yield f"{ORDINARY}: on this system Bayleaf asks for no other"
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
def undisturbed() -> Iterator[str]:
    """The same for the thread that plays and the one that reads for it, which keep together; gives what is in force."""
    with going_first() as scheduling, one_for_all() as where:
        yield scheduling if where is None else f"{scheduling}, {where}"
