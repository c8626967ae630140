"""How fast the socket is served: some requests at once, then so many per second, however many ask."""

import math
from typing import Final

import trio

_NOTHING: Final = 1e-6  # seconds; less is what adding up fractions leaves behind


class ServicePace:
    """For all connections together. Loop only."""

    def __init__(self, at_once: int, per_second: float) -> None:
        self._between = 1 / per_second
        self._credit = at_once * self._between
        self._due = -math.inf  # trio's time at which the next one would be served if none had been saved up

    async def turn(self) -> None:
        """Wait until it is the caller's turn: not at all, as long as few ask."""
        now = trio.current_time()
        self._due = max(self._due, now - self._credit) + self._between
        if self._due > now + _NOTHING:
            await trio.sleep_until(self._due)
