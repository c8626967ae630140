"""Starts, restarts and ends the panel's process beside the engine, which never waits for it."""

import subprocess
from collections.abc import Callable, Sequence
from typing import Final

import trio

from engine.give_way import give_way

_PAUSE: Final = 5.0  # seconds before it is started again
_REAPED_WITHIN: Final = 1.0  # seconds


async def keep_beside(command: Sequence[str], say: Callable[[str], None], first: Sequence[str] | None = None) -> None:
    """Run the command again and again until cancelled; `first` is run instead of it the first time.

    Its standard input stays open for as long as we live.
    """
    now = first or command
    while True:
        try:
            process = await trio.lowlevel.open_process(now, stdin=subprocess.PIPE)
        except OSError as fault:
            say(f"the panel cannot be started ({fault.strerror}); the show goes on")
        else:
            await _run_out(process)
            say(f"the panel has ended (status {process.returncode}) and will be restarted; the show goes on")
        now = command
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
