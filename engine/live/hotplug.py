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

_SLEPT: Final = 2_000_000_000  # ns between two rounds; a busy machine is not that late
_LEFT_OVER: Final = 0.02  # seconds in which the reader is sure to read what the drivers had kept during sleep


def uptime() -> int:
    """Nanoseconds since the start of the machine, with the time it slept where the system can tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


class Hotplug:
    """Looks after the ports of one show."""

    def __init__(
        self,
        show: Show,
        opener: PortOpener,
        uptime: Callable[[], int] = uptime,
        apart: Apart = in_a_thread,
    ) -> None:
        self._show = show
        self._missing = PortReopening(show.ports, opener, apart)
        self._uptime = uptime

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._look_for_sleep)
            while True:
                await next_round()
                try:
                    self._show.check_outputs()
                    await self._missing.open()
                except Exception as fault:  # it costs this round, not the show
                    self._show.own_fault("looking for ports", fault)

    async def _look_for_sleep(self) -> None:
        """Apart from the ports: opening those may take the system as long as a sleep."""
        while True:
            before = self._uptime()
            await next_round()
            slept = self._uptime() - before
            if slept > _SLEPT:
                await trio.sleep(_LEFT_OVER)
                try:
                    self._show.pump()  # what had arrived before is older than the wake-up
                    self._show.awake(slept / 1e9)
                except Exception as fault:
                    self._show.own_fault("waking up", fault)
