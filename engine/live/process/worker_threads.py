"""Runs slow work in other threads, on any processor, so that the music need not wait for it."""

import contextlib
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import Final, TypeVar, TypeVarTuple

import trio
from outcome import Outcome, capture

from engine.processor import any_of_them

_GRACE: Final = 1.0  # seconds that cancelled work has to come to its end
_REST: Final = 4  # times as long as a piece of work at ease took

_Each = TypeVar("_Each")
_Found = TypeVar("_Found")
_Given = TypeVarTuple("_Given")


async def in_a_thread(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """What the call returns or raises. It is abandoned if the task is cancelled."""
    return await trio.to_thread.run_sync(_anywhere, partial(call, *given), abandon_on_cancel=True)


async def to_its_end(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """The same, but a file that is being written is finished even if the task is cancelled.

    Work that hangs, as on a disk that is gone, is abandoned a second later: it must not hold up the end of a show.
    """
    finished, loop = trio.Event(), trio.lowlevel.current_trio_token()
    claim = threading.Lock()  # the work takes it as it begins, or the cancelled task before that
    results: list[Outcome[_Found]] = []

    def work() -> None:
        if not claim.acquire(blocking=False):
            return
        results.append(capture(call, *given))
        with contextlib.suppress(trio.RunFinishedError):
            loop.run_sync_soon(finished.set)

    try:
        await trio.to_thread.run_sync(_anywhere, work, abandon_on_cancel=True)
    except trio.Cancelled:
        if claim.acquire(blocking=False):  # it has not begun, and now never does
            raise
        with trio.move_on_after(_GRACE, shield=True):
            await finished.wait()
        if not results:
            raise
    return results[0].unwrap()


def at_ease(pieces: Iterable[_Each]) -> Iterator[_Each]:
    """The same pieces for a loop in a worker thread, with a rest after each turn of it.

    A thread that never rests takes Python's lock from the music again and again; this one has it a fifth of the time.
    """
    for piece in pieces:
        began = time.thread_time()
        yield piece
        time.sleep(_REST * (time.thread_time() - began))


def _anywhere(call: Callable[[], _Found]) -> _Found:
    any_of_them()
    return call()
