"""Limits notices for the player: the same sentence appears at most once per second, with a count of repetitions."""

from collections.abc import Callable
from typing import Final

_PAUSE: Final = 1_000_000_000  # ns
_REMEMBERED: Final = 256


class NoticeLimiter:
    """`out` gets time (ns), port and sentence. Loop only."""

    def __init__(self, out: Callable[[int, str, str], None]) -> None:
        self._out = out
        self._said: dict[tuple[str, str], int] = {}  # -> when
        self._held_back: dict[tuple[str, str], int] = {}  # -> how often since then

    def tell(self, now: int, port: str, text: str) -> None:
        """Give this out now, or only count it if it was given out within the last second."""
        thing = (port, text)
        at = self._said.get(thing)
        if at is not None and now - at < _PAUSE:
            self._held_back[thing] = self._held_back.get(thing, 0) + 1
            return
        if len(self._said) >= _REMEMBERED:
            self._said = {each: at for each, at in self._said.items() if now - at < _PAUSE}
        self._said[thing] = now
        self._out(now, port, text + _again(self._held_back.pop(thing, 0)))

    def flush(self, now: int) -> None:
        """Give out what was held back, with its count, once its second is over."""
        for thing in [each for each in self._held_back if now - self._said.get(each, 0) >= _PAUSE]:
            self._said[thing] = now
            self._out(now, thing[0], thing[1] + _again(self._held_back.pop(thing)))


def _again(count: int) -> str:
    times = "time" if count == 1 else "times"
    return f" ({count} {times} more in the last second)" if count else ""
