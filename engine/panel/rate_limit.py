"""Rate limits: how often a pairing code may be tried and a browser may ask."""

from collections.abc import Callable
from typing import Final, NamedTuple


class RatePace(NamedTuple):
    """`at_once` uses without a pause; one more is allowed every `seconds`."""

    at_once: int
    seconds: float


#: a code has 40 bits: at this pace a guess succeeds within a year with a chance of 1 in 60,000
_EACH: Final = RatePace(5, 12.0)
_ALL: Final = RatePace(30, 2.0)
_REMEMBERED: Final = 1000  # addresses


class RateBucket:
    """An allowance that refills with time."""

    def __init__(self, pace: RatePace) -> None:
        """It starts full."""
        self._pace = pace
        self._used = 0.0
        self._at = 0.0

    def wait(self, now: float) -> float:
        """Seconds until one more is allowed; 0.0 if it is."""
        self._used = max(0.0, self._used - (now - self._at) / self._pace.seconds)
        self._at = now
        return max(0.0, (self._used + 1 - self._pace.at_once) * self._pace.seconds)

    def take(self) -> None:
        """Use one up."""
        self._used += 1


class CodeAttempts:
    """Limits the attempts of each address, and of all addresses together."""

    def __init__(self, clock: Callable[[], float]) -> None:
        """`clock` gives seconds and never goes back."""
        self._clock = clock
        self._all = RateBucket(_ALL)
        self._each: dict[str, RateBucket] = {}

    def wait(self, address: str) -> float:
        """Count an attempt of this address and return 0.0, or return the seconds that it must wait first."""
        now = self._clock()
        each = self._each.pop(address, None) or RateBucket(_EACH)
        self._each[address] = each  # the latest is last
        if len(self._each) > _REMEMBERED:
            del self._each[next(iter(self._each))]
        if (seconds := max(each.wait(now), self._all.wait(now))) > 0:
            return seconds
        each.take()
        self._all.take()
        return 0.0
