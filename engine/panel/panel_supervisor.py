"""Starts, restarts and ends the panel's process beside the engine, which never waits for it."""

import contextlib
import os
import subprocess
from collections.abc import Callable, Sequence
from typing import Final

import trio

from engine.processor import any_of_them

_PAUSE: Final = 5.0  # seconds before it is started again
_NICE: Final = 5  # the music comes first
_REAPED_WITHIN: Final = 1.0  # seconds


def give_way(process: int) -> None:
    """Give this process (by its id; 0 is this one) a lower priority than the engine's, and undo what it inherited."""
    with contextlib.suppress(OSError, AttributeError):
        os.sched_setscheduler(process, os.SCHED_OTHER, os.sched_param(0))
        any_of_them(process)
    with contextlib.suppress(OSError, AttributeError):  # not every system has it
        os.setpriority(os.PRIO_PROCESS, process, _NICE)


async def keep_beside(command: Sequence[str], say: Callable[[str], None]) -> None:
    """Run the command again and again until cancelled. Its standard input stays open for as long as we live."""
    while True:
        try:
            process = await trio.lowlevel.open_process(command, stdin=subprocess.PIPE)
        except OSError as fault:
            say(f"the panel cannot be started ({fault.strerror}); the show goes on")
        else:
            await _run_out(process)
            say(f"the panel has ended (status {process.returncode}) and will be restarted; the show goes on")
        await trio.sleep(_PAUSE)


async def _run_out(process: trio.Process) -> None:
    give_way(process.pid)
    try:
        await process.wait()
    finally:
        process.kill()  # it has nothing to clean up, and a hanging one would ignore a milder signal
        with trio.CancelScope(shield=True, deadline=trio.current_time() + _REAPED_WITHIN):
            await process.wait()
        if process.stdin is not None:
            with trio.CancelScope(shield=True):
                await process.stdin.aclose()
