"""Runs slow work in other threads, on any processor, so that the music need not wait for it."""

from collections.abc import Callable
from functools import partial
from typing import TypeVar, TypeVarTuple

import trio

from engine.processor import any_of_them

_Found = TypeVar("_Found")
_Given = TypeVarTuple("_Given")


async def in_a_thread(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """What the call returns or raises. It is abandoned if the task is cancelled."""
    return await trio.to_thread.run_sync(_anywhere, partial(call, *given), abandon_on_cancel=True)


async def to_its_end(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """The same, but once begun it is waited for even if the task is cancelled: a file that is being written."""
    return await trio.to_thread.run_sync(_anywhere, partial(call, *given))


def _anywhere(call: Callable[[], _Found]) -> _Found:
    any_of_them()
    return call()
