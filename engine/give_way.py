"""Gives processes beside the engine a lower priority than the music."""

import contextlib
import os
from typing import Final

from engine.processor import any_of_them

_NICE: Final = 5


def give_way(process: int) -> None:
    """Give this process (by its id; 0 is this one) a lower priority than the engine's, and undo what it inherited."""
    with contextlib.suppress(OSError, AttributeError):
        os.sched_setscheduler(process, os.SCHED_OTHER, os.sched_param(0))
        any_of_them(process)
    with contextlib.suppress(OSError, AttributeError):  # not every system has it
        os.setpriority(os.PRIO_PROCESS, process, _NICE)
