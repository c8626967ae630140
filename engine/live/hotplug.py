"""Ports that are unplugged and plugged in again, MIDI services that stop and start, a machine that slept.

Five times per second the outputs are checked (the reader finds inputs that are gone by itself), and whatever is missing
is tried again: a port that has come back is in use within half a second. Opening waits for the system, so another
thread does it while the music goes on.
"""

import time
from collections.abc import Callable
from typing import Final

import trio

from engine.live.port_opening import PortOpener
from engine.live.port_reopening import Apart, PortReopening
from engine.live.process.worker_threads import in_a_thread
from engine.live.rounds import next_round
from engine.live.show import Show

_SLEPT: Final = 2_000_000_000  # ns; after less than that everything is as it was left
_AT_ONE_TIME: Final = 10_000_000  # ns within which two clocks are read
_LEFT_OVER: Final = 0.02  # seconds in which the reader is sure to read what the drivers had kept during sleep


def slept() -> int:
    """Nanoseconds for which the machine has slept since its start; 0 where the system cannot tell.

    On Linux the monotonic clock stands still during sleep and the clock of the start does not (clock_gettime(2)). How
    late a round is says nothing: on a busy machine it can be later than a short sleep is long.
    """
    since_the_start = getattr(time, "CLOCK_BOOTTIME", None)
    if since_the_start is None:
        return 0
    while True:
        before = time.monotonic_ns()
        both = time.clock_gettime_ns(since_the_start)
        awake = time.monotonic_ns()
        if awake - before < _AT_ONE_TIME:
            return both - awake


class Hotplug:
    """Looks after the ports of one show."""

    def __init__(
        self,
        show: Show,
        opener: PortOpener,
        slept: Callable[[], int] = slept,
        apart: Apart = in_a_thread,
    ) -> None:
        self._show = show
        self._missing = PortReopening(show.ports, opener, apart)
        self._slept = slept
        self._slept_before = slept()

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        while True:
            await next_round()
            try:
                await self._look_for_sleep()
                self._show.check_outputs()
                await self._missing.open()
            except Exception as fault:  # it costs this round, not the show
                self._show.own_fault("looking for ports", fault)

    async def _look_for_sleep(self) -> None:
        so_far = self._slept()
        slept, self._slept_before = so_far - self._slept_before, so_far
        if slept > _SLEPT:
            await trio.sleep(_LEFT_OVER)
            self._show.pump()  # what had arrived before is older than the wake-up
            self._show.awake(slept / 1e9)
