"""Cables that are pulled and put back, services that stop and start, a machine that slept.

Five times a second it looks whether the outputs are still there (inputs tell by themselves), and tries to open
whatever of the rig is missing: by then what has come back is back under its rig's name within half a second.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeVar

import trio

from engine.live.meters import PortMeter
from engine.live.patch import Opener
from engine.live.show import Show
from engine.ports.port import InputPort, OutputPort, PortError
from engine.rig.models import Input, Output

_Port = TypeVar("_Port", InputPort, OutputPort)
_Wanted = TypeVar("_Wanted", Input, Output)

_ROUND: Final = 0.2  # seconds
_TAKEN: Final = 10  # rounds after which a port that had another name of the rig is tried again
_SLEPT: Final = 2_000_000_000  # ns between two rounds; a busy machine is not that late


def uptime() -> int:
    """Nanoseconds, those in which the machine slept included, where the system can tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


class Watch:
    """Keeps one show's cables in order."""

    def __init__(self, show: Show, opener: Opener, uptime: Callable[[], int] = uptime) -> None:
        self._show = show
        self._opener = opener
        self._uptime = uptime
        self._looked_at = uptime()
        self._rounds = 0
        self._away: str | None = None  # why the ports' service cannot be reached
        self._not_before: dict[int, int] = {}  # meter -> the round from which on its port is tried again

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        while True:
            await trio.sleep(_ROUND)
            try:
                self._look_for_sleep()
                self._show.check_outputs()
                await self._reopen()
            except Exception as fault:  # it costs this round, not the show
                self._show.own_fault(fault)

    def _look_for_sleep(self) -> None:
        now = self._uptime()
        slept, self._looked_at = now - self._looked_at, now
        if slept > _SLEPT:
            self._show.pump()  # what had arrived before is older than the wake-up
            self._show.awake(slept / 1e9)

    async def _reopen(self) -> None:
        show = self._show
        self._rounds += 1
        inputs, outputs = show.missing()
        if not inputs and not outputs:
            return
        self._refresh()
        for source in inputs:
            self._open(
                source, show.inputs[source], show.bay.rig.inputs, show.in_meters, self._opener.input, show.attach_input
            )
            await trio.lowlevel.checkpoint()  # opening takes milliseconds; the music goes on between two
        for output in outputs:
            self._open(
                output,
                show.outputs[output],
                show.bay.rig.outputs,
                show.out_meters,
                self._opener.output,
                show.attach_output,
            )
            await trio.lowlevel.checkpoint()

    def _refresh(self) -> None:
        """Join the service of the ports anew if it was away. While it is, byte devices may be back all the same."""
        away = None
        try:
            self._opener.system.refresh()
        except PortError as fault:
            away = str(fault)
        if away != self._away:
            self._show.tell("ports", away or "the service of the ports is back")
        self._away = away

    def _open(
        self,
        index: int,
        name: str,
        wanted: Mapping[str, _Wanted],
        meters: Sequence[PortMeter],
        open_one: Callable[[str, _Wanted], _Port],
        attach: Callable[[int, _Port], None],
    ) -> None:
        """Try one port. It may be there, or no longer wanted, since the round began."""
        meter = meters[index]
        if name not in wanted or meter.open or self._rounds < self._not_before.get(id(meter), 0):
            return
        try:
            port = open_one(name, wanted[name])
        except PortError as fault:
            meter.last_error = str(fault)
            return
        if any(other.port == port.name for other in meters):
            port.close()
            meter.last_error = f'it leads to the port "{port.name}", which has another name of the rig already'
            self._not_before[id(meter)] = self._rounds + _TAKEN  # each try makes a client of the system
            return
        attach(index, port)
