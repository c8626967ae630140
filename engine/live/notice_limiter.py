"""What the player is told, at most once a second for one and the same thing."""

from collections.abc import Callable
from typing import Final

_PAUSE: Final = 1_000_000_000  # ns
_REMEMBERED: Final = 256


class NoticeLimiter:
    """`out` gets time (ns), port and sentence. Loop only."""

    def __init__(self, out: Callable[[int, str, str], None]) -> None:
        self._out = out
        self._told: dict[tuple[str, str], int] = {}  # -> when
        self._kept_back: dict[tuple[str, str], int] = {}  # -> how often since

    def tell(self, now: int, port: str, text: str) -> None:
        """Tell this now, or count it if it was told a moment ago."""
        thing = (port, text)
        at = self._told.get(thing)
        if at is not None and now - at < _PAUSE:
            self._kept_back[thing] = self._kept_back.get(thing, 0) + 1
            return
        if len(self._told) >= _REMEMBERED:
            self._told = {each: at for each, at in self._told.items() if now - at < _PAUSE}
        self._told[thing] = now
        self._out(now, port, text + _again(self._kept_back.pop(thing, 0)))

    def flush(self, now: int) -> None:
        """Tell how often the things happened that were kept back, once their second is over."""
        for thing in [each for each in self._kept_back if now - self._told.get(each, 0) >= _PAUSE]:
            self._told[thing] = now
            self._out(now, thing[0], thing[1] + _again(self._kept_back.pop(thing)))


def _again(count: int) -> str:
    return f" ({count} times more in the last second)" if count else ""
