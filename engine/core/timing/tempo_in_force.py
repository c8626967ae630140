"""The tempo in force, for filters that count beats. They are built before the show whose tempo they follow."""

from collections.abc import Callable
from typing import Final

#: beats per minute where no clock has been heard and the rig has none of its own
USUAL: Final = 120.0


class TempoInForce:
    """Called with a time (ns), it gives beats per minute: those of the show that it follows, if that knows any."""

    def __init__(self, bpm: float = USUAL) -> None:
        self._otherwise = bpm
        self._ask: Callable[[int], float | None] | None = None

    def follow(self, ask: Callable[[int], float | None]) -> None:
        """From now on `ask` says the tempo at a time, or None."""
        self._ask = ask

    def __call__(self, now: int) -> float:
        bpm = self._ask(now) if self._ask is not None else None
        return bpm or self._otherwise
