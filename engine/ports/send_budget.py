"""How much more a driver may be handed: the last guard before a queue that would block the process.

The core paces by the same `DriverFlow`, so a refusal here means other callers, or a server that has frozen.
"""

from collections.abc import Callable
from typing import Final

from engine.midi.kinds import FIRST_REAL_TIME
from engine.ports.driver_limits import JACK_RING
from engine.ports.port import DriverFlow

#: bytes after which the server is asked again for its cycle: asking takes as long as sending a note
_UNSEEN: Final = 1024
#: The core paces by the time at which it began its answer; a send comes later, and not each by as much (ns).
_SKEW: Final = 1_000_000
#: Many sends at once take their time, so that what is ahead by our time is up to twice what is ahead by the core's.
_LATE: Final = 2


class SendBudget:
    """Counts what is on its way: by the clock, and by the server's cycles if `cycle` is given."""

    def __init__(self, flow: DriverFlow, cycle: Callable[[], int] | None = None) -> None:
        """`cycle` counts the server's cycles, each of which empties the ring."""
        self.flow = flow
        self._byte_ns = 1_000_000_000 // flow.per_second
        self._ahead_ns = _LATE * flow.ahead * self._byte_ns
        self._free_at = 0
        self._cycle = cycle
        self._cycle_seen = -1
        self._this_cycle = 0  # bytes handed over since that cycle
        self._last_cycle = 0  # and in the one before it: its emptying may still be under way
        self._unseen = 0  # of those, bytes since the cycle was last looked up

    def take(self, now: int, message: bytes) -> bool:
        """Count this message at this time (ns) if there is room for it; False if there is none."""
        size = len(message) + self.flow.overhead
        free_at = self._free_at
        start = free_at if free_at > now else now
        end = start + size * self._byte_ns
        # the core lets a real-time byte pass inside a SysEx that fills the whole allowance
        if start > now and end - now > self._ahead_ns + _SKEW and message[0] < FIRST_REAL_TIME:
            return False
        if self._cycle is not None and not self._fits_the_ring(size, self._cycle):
            return False
        self._free_at = end
        return True

    def _fits_the_ring(self, size: int, cycle: Callable[[], int]) -> bool:
        if self._unseen + size > _UNSEEN or self._last_cycle + self._this_cycle + size > JACK_RING:
            self._look(cycle())
        if self._last_cycle + self._this_cycle + size > JACK_RING:
            return False
        self._this_cycle += size
        self._unseen += size
        return True

    def _look(self, cycle: int) -> None:
        if cycle != self._cycle_seen:
            seen = self._this_cycle - self._unseen  # the rest may belong to this very cycle
            self._last_cycle = seen if cycle == self._cycle_seen + 1 else 0
            self._cycle_seen, self._this_cycle = cycle, self._unseen
        self._unseen = 0
