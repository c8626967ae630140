"""Work that takes long, done in other threads: nobody waits for it but who asked, and it may run on any processor."""

from collections.abc import Callable
from functools import partial
from typing import TypeVar, TypeVarTuple

import trio

from engine.processor import any_of_them

_Found = TypeVar("_Found")
_Given = TypeVarTuple("_Given")


async def in_a_thread(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """What it returns or raises; if the show ends meanwhile, nobody waits for it."""
    return await trio.to_thread.run_sync(_anywhere, partial(call, *given), abandon_on_cancel=True)


async def to_its_end(call: Callable[[*_Given], _Found], *given: *_Given) -> _Found:
    """The same, but what has begun is waited for in any case: a file that is being written."""
    return await trio.to_thread.run_sync(_anywhere, partial(call, *given))


def _anywhere(call: Callable[[], _Found]) -> _Found:
    any_of_them()
    return call()
