"""Cables that are pulled and put back, services that stop and start, a machine that slept.

Five times a second it looks whether the outputs are still there (inputs tell by themselves), and tries to open
whatever of the rig is missing: by then what has come back is back under its rig's name within half a second. Opening
waits for the system, so it is done by another thread; the music goes on.
"""

import time
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

import trio

from engine.live.meters import PortMeter
from engine.live.port_opening import PortOpener
from engine.live.process.worker_threads import in_a_thread
from engine.live.show import Show
from engine.ports.port import InputPort, OutputPort, PortError
from engine.rig.models.rig import Input, Output

_Port = TypeVar("_Port", InputPort, OutputPort)
_Wanted = TypeVar("_Wanted", Input, Output)
_Found = TypeVar("_Found")

_ROUND: Final = 0.2  # seconds
_TAKEN: Final = 10  # rounds after which a port that had another name of the rig is tried again
_SLEPT: Final = 2_000_000_000  # ns between two rounds; a busy machine is not that late
_LEFT_OVER: Final = (
    0.02  # seconds in which the reader surely looks at what the drivers had kept: their releases may be lost
)


def uptime() -> int:
    """Nanoseconds, those in which the machine slept included, where the system can tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


def tried(call: Callable[[], _Found]) -> _Found | str:
    """What it returns, or why it failed: an exception that crosses threads leaves 25 KB for the resting collector."""
    try:
        return call()
    except PortError as fault:
        return str(fault)


class Hotplug:
    """Keeps one show's cables in order."""

    def __init__(
        self,
        show: Show,
        opener: PortOpener,
        uptime: Callable[[], int] = uptime,
        apart: Callable[[Callable[[], Any]], Awaitable[Any]] = in_a_thread,
    ) -> None:
        """`apart` calls what may take long, where nobody waits for it."""
        self._apart = apart
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
                await self._look_for_sleep()
                self._show.check_outputs()
                await self._reopen()
            except Exception as fault:  # it costs this round, not the show
                self._show.own_fault("looking for ports", fault)

    async def _look_for_sleep(self) -> None:
        now = self._uptime()
        slept, self._looked_at = now - self._looked_at, now
        if slept > _SLEPT:
            await trio.sleep(_LEFT_OVER)
            self._show.pump()  # what had arrived before is older than the wake-up
            self._show.awake(slept / 1e9)

    async def _reopen(self) -> None:
        show, opener = self._show, self._opener
        self._rounds += 1
        inputs, outputs = show.missing()
        if not inputs and not outputs:
            return
        await self._refresh()
        rig = show.engine.rig
        away = [show.inputs[source] for source in inputs], [show.outputs[output] for output in outputs]
        await self._apart(lambda: opener.prepare(rig, *away))
        for source in inputs:
            await self._open(
                source,
                show.inputs[source],
                lambda: show.engine.rig.inputs,
                lambda: show.in_meters,
                opener.input,
                show.attach_input,
            )
        for output in outputs:
            await self._open(
                output,
                show.outputs[output],
                lambda: show.engine.rig.outputs,
                lambda: show.out_meters,
                opener.output,
                show.attach_output,
            )

    async def _refresh(self) -> None:
        """Join the service of the ports anew if it was away. While it is, byte devices may be back all the same."""
        away = await self._apart(lambda: tried(self._opener.system.refresh))
        if away != self._away:
            self._show.tell("ports", away or "the service of the ports is back")
        self._away = away

    async def _open(
        self,
        index: int,
        name: str,
        rig: Callable[[], Mapping[str, _Wanted]],
        meters: Callable[[], Sequence[PortMeter]],
        open_one: Callable[[str, _Wanted], _Port],
        attach: Callable[[int, _Port], None],
    ) -> None:
        """Try one port. An edit may take it out of the rig, or mean another one by it, at any moment."""
        meter, wanted = meters()[index], rig().get(name)
        if wanted is None or meter.open or self._rounds < self._not_before.get(id(meter), 0):
            return
        port = await self._apart(lambda: tried(lambda: open_one(name, wanted)))
        if isinstance(port, str):
            meter.last_error = port
            return
        if rig().get(name) != wanted:
            port.close()
        elif any(other.port == port.name for other in meters()):
            port.close()
            meter.last_error = f'it leads to the port "{port.name}", which has another name of the rig already'
            self._not_before[id(meter)] = self._rounds + _TAKEN
        else:
            attach(index, port)
