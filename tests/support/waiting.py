"""Waiting for a condition: as long as it takes, up to a limit that no working system reaches."""

import time
from collections.abc import Callable, Iterable, Sized
from typing import Final, Protocol, TypeVar

import trio

WITHIN: Final = 30.0  # seconds
_PAUSE: Final = 0.002  # seconds between two looks

T = TypeVar("T")
Item = TypeVar("Item", contravariant=True)


class _Growing(Sized, Protocol[Item]):
    """A list or a bytearray."""

    def extend(self, more: Iterable[Item], /) -> None: ...


def until(what: str, condition: Callable[[], T | None], within: float = WITHIN) -> T:
    """Wait until the condition's value is true, and return that value; fail after `within` seconds."""
    end = time.monotonic() + within
    while not (value := condition()):
        assert time.monotonic() < end, f"{what}: not within {within:.0f} s"
        time.sleep(_PAUSE)
    return value


def until_there_are(
    count: int, got: _Growing[T], more: Callable[[], Iterable[T]], what: str = "items", within: float = WITHIN
) -> None:
    """Add to `got` what `more` returns, until there are `count` of them."""

    def enough() -> bool:
        got.extend(more())
        return len(got) >= count

    until(f"{count} {what}", enough, within)


async def eventually(condition: Callable[[], object], within: float = WITHIN) -> None:
    """As `until`, in a trio task; the seconds may be those of a test's own clock."""
    with trio.fail_after(within):
        while not condition():  # noqa: ASYNC110 what is waited for sets no event
            await trio.sleep(_PAUSE)
