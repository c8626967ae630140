"""Runs heavy work in a child process, which may be given up, so that the music never waits for its interpreter lock.

Threads are not enough for text that someone else wrote: a library may hold the lock for as long as its input is long.
The child has a lower priority, a limit on its memory and a limit on the time of each piece of work. Started as
`python -m engine.live.process.worker_process MODULE` it imports the module, then takes work from its standard input.
"""

import contextlib
import os
import pickle
import resource
import signal
import subprocess
import sys
import threading
import traceback
from collections.abc import Callable
from importlib import import_module
from typing import IO, Any, Final, TypeVar, TypeVarTuple

import trio

from engine.give_way import give_way
from engine.live.process.worker_threads import in_a_thread
from engine.user_error import UserError

_MEMORY: Final = 1 << 30  # bytes of address space
_TIME: Final = 30  # seconds for one piece of work

_Found = TypeVar("_Found")
_Given = TypeVarTuple("_Given")


class WorkGivenUp(UserError):
    """The work took too much time or memory; the text says so."""


class WorkerProcess:
    """One child, started again if it was lost. `run` does one thing at a time."""

    def __init__(self, module: str) -> None:
        """`module`: what the child imports at its start, so that the first piece of work does not wait for it."""
        self._module = module
        self._lock = trio.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._starting = threading.Lock()

    def start(self) -> None:
        """Start the child, unless it runs. Any thread. Raises OSError."""
        with self._starting:
            self._running()

    async def run(self, call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
        """What the call returns or raises; call, arguments and answer are pickled.

        Raises WorkGivenUp. If the task is cancelled, the child is ended.
        """
        given_up = threading.Event()
        async with self._lock:
            try:
                answered, answer = await in_a_thread(self._exchange, (call, given), given_up)
            except trio.Cancelled:
                given_up.set()
                self.close()
                raise
        if answered:
            found: _Found = answer
            return found
        raise answer

    def close(self) -> None:
        """End the child; nothing is lost, as it writes no files."""
        with self._starting:
            child, self._child = self._child, None
        if child is not None:
            _end(child)

    def _running(self) -> subprocess.Popen[bytes]:
        """The child, started if need be; for who holds `_starting`."""
        if self._child is not None and self._child.poll() is not None:
            _end(self._child)
            self._child = None
        if self._child is None:
            command = [sys.executable, "-P", "-m", __name__, self._module]
            self._child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        return self._child

    def _exchange(
        self, work: tuple[Callable[..., Any], tuple[Any, ...]], given_up: threading.Event
    ) -> tuple[bool, Any]:
        try:
            with self._starting:
                if given_up.is_set():  # this thread is late: the child, if there is one, is not ours
                    raise WorkGivenUp("it was interrupted")
                child = self._running()
        except OSError as fault:
            raise WorkGivenUp(f"no process could be started for it ({fault.strerror})") from None
        assert child.stdin is not None
        assert child.stdout is not None
        try:
            _write(child.stdin, work)
            found: tuple[bool, Any] = pickle.load(child.stdout)
            return found
        except (EOFError, BrokenPipeError, pickle.UnpicklingError):
            _end(child)
            raise WorkGivenUp(f"it took more than {_TIME} seconds or {_MEMORY >> 30} GB of memory") from None
        except Exception:  # work that cannot be pickled: the child waits for the rest of it
            _end(child)
            raise


def _end(child: subprocess.Popen[bytes]) -> None:
    child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        if pipe is not None:
            with contextlib.suppress(BrokenPipeError):  # there was something left to write
                pipe.close()


def _write(pipe: IO[bytes], work: object) -> None:
    pickle.dump(work, pipe)  # piece by piece: a copy of the whole would hold the lock while memory is found for it
    pipe.flush()


# In the child


def _main(module: str) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is meant for the engine, which ends us
    give_way(0)
    with contextlib.suppress(ValueError, OSError):  # a lower limit may be in force, or none can be set
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever is printed must not come between the answers
    import_module(module)
    while True:
        try:
            call, given = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        signal.alarm(_TIME)  # which ends this process
        _write(answers, _answer(call, given))
        signal.alarm(0)


def _answer(call: Callable[..., Any], given: tuple[Any, ...]) -> tuple[bool, Any]:
    """Whether the call returned, and what it returned or raised."""
    try:
        return True, call(*given)
    except MemoryError:
        sys.exit(1)
    except Exception as fault:
        fault.add_note(traceback.format_exc())  # which would not be pickled
        return False, fault


if __name__ == "__main__":
    _main(sys.argv[1])
