"""The loop: its thread takes turns of the music as the reader asks for them, and trio's between them.

A turn of trio's own loop costs as much as routing ten messages: a byte through a socket, a look at all sockets, a task
that makes the call. So the music does not go through it. Whoever has something for the loop puts a call into one queue,
and trio is a guest (`trio.lowlevel.start_guest_run`): a thread of its own waits for its sockets and timers, and puts
the turn that they need into the same queue.
"""

from collections.abc import Awaitable, Callable
from contextvars import ContextVar
from queue import SimpleQueue
from typing import Final, TypeVar, TypeVarTuple

import trio
from outcome import Outcome

_Found = TypeVar("_Found")
_Given = TypeVarTuple("_Given")
Call = Callable[[], object]

_CALLS: Final[ContextVar[SimpleQueue[Call]]] = ContextVar("calls of the present loop")


@trio.lowlevel.enable_ki_protection  # Ctrl-C ends the task, and never this loop before it
def run(main: Callable[[*_Given], Awaitable[_Found]], *given: *_Given) -> _Found:
    """What the task returns or raises, as from `trio.run`; until then this thread is the loop's."""
    calls: SimpleQueue[Call] = SimpleQueue()
    ended: list[Outcome[_Found]] = []
    before = _CALLS.set(calls)
    try:
        trio.lowlevel.start_guest_run(main, *given, run_sync_soon_threadsafe=calls.put, done_callback=ended.append)
    finally:
        _CALLS.reset(before)
    while not ended:
        calls.get()()
    return ended[0].unwrap()


def put_call() -> Callable[[Call], None]:  # loop
    """Gives the present loop a call to make in its turn. Any thread may use it; after the loop's end it does nothing.

    The call must not raise. Only a task of this loop may ask, one that was begun by `run`.
    """
    return _CALLS.get().put
