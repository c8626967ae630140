"""Rate limits: how often a pairing code may be tried and a browser may ask."""

from collections.abc import Callable
from typing import Final, NamedTuple


class RatePace(NamedTuple):
    """`at_once` uses without a pause; one more is allowed every `seconds`."""

    at_once: int
    seconds: float


_EACH: Final = RatePace(5, 12.0)
#: a code has 40 bits: at the pace of both shares together a guess succeeds within a year with a chance of 1 in 10,000
_ALL: Final = RatePace(20, 3.0)
#: beside the share of all, for addresses that have not tried lately: more than the 254 of a usual network can use up
_NEWCOMERS: Final = RatePace(1300, 1.0)
_NEW_FOR: Final = 5  # tries of an address, refused ones included
_LATELY: Final = 3600.0  # seconds
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


class _Address:
    """What an address has tried."""

    def __init__(self) -> None:
        self.pace = RateBucket(_EACH)
        self.tried = 0  # in a row, without an hour's pause
        self.at = 0.0


class CodeAttempts:
    """Limits the attempts of each address, and of all addresses together.

    Even if every other address of a usual network guesses, one more finds its first tries free: together they cannot
    take the newcomers' share, since each is a newcomer for a few tries only.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        """`clock` gives seconds and never goes back."""
        self._clock = clock
        self._all = RateBucket(_ALL)
        self._newcomers = RateBucket(_NEWCOMERS)
        self._addresses: dict[str, _Address] = {}

    def wait(self, address: str) -> float:
        """Count an attempt of this address and return 0.0, or return the seconds that it must wait first."""
        now = self._clock()
        each = self._seen(address, now)
        shares = [self._all, self._newcomers] if each.tried <= _NEW_FOR else [self._all]
        waits = [share.wait(now) for share in shares]
        if (seconds := max(each.pace.wait(now), min(waits))) > 0:
            return seconds
        each.pace.take()
        shares[waits.index(0.0)].take()
        return 0.0

    def _seen(self, address: str, now: float) -> _Address:
        each = self._addresses.pop(address, None) or _Address()
        self._addresses[address] = each  # the latest is last
        if len(self._addresses) > _REMEMBERED:
            del self._addresses[next(iter(self._addresses))]
        if now - each.at > _LATELY:
            each.tried = 0
        each.tried += 1
        each.at = now
        return each
