"""For shows in virtual time, which does not wait for threads."""

from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


async def at_once(call: Callable[[], T]) -> T:
    """What `engine.live.hotplug.in_a_thread` does, on the spot."""
    return call()
