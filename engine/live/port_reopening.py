"""Opens the ports that a bank should hold and does not: those that were pulled, and those that an edit has added."""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar

from engine.live.meters import PortMeter
from engine.live.port_bank import PortBank
from engine.live.port_opening import PortOpener
from engine.live.process.worker_threads import in_a_thread
from engine.ports.port import InputPort, OutputPort, PortError
from engine.rig.models.rig import Input, Output

_Port = TypeVar("_Port", InputPort, OutputPort)
_Wanted = TypeVar("_Wanted", Input, Output)
_Found = TypeVar("_Found")

#: calls what may block in another thread, and returns its result
Apart = Callable[[Callable[[], Any]], Awaitable[Any]]

_TAKEN: Final = 10  # rounds after which a port that had another name of the rig is tried again


@dataclass(frozen=True)
class _Direction(Generic[_Wanted, _Port]):
    """The inputs of a bank, or its outputs: what is needed to open one."""

    names: Sequence[str]
    meters: Sequence[PortMeter]
    wanted: Callable[[], Mapping[str, _Wanted]]
    open: Callable[[str, _Wanted], _Port]
    attach: Callable[[int, _Port], None]
    leaving: Callable[[int], bool]  # whether one is about to be closed

    def holder(self, port: str) -> int | None:
        """Which of them has this port of the system open."""
        return next((index for index, meter in enumerate(self.meters) if meter.port == port), None)


class PortReopening:
    """Opens what a bank should hold and does not."""

    def __init__(self, bank: PortBank, opener: PortOpener, apart: Apart = in_a_thread) -> None:
        events = bank.events
        self._bank = bank
        self._opener = opener
        self._apart = apart
        self._inputs = _Direction(
            bank.inputs, bank.in_meters, events.wanted_inputs, opener.input, bank.attach_input, lambda source: False
        )
        self._outputs = _Direction(
            bank.outputs, bank.out_meters, events.wanted_outputs, opener.output, bank.attach_output, bank.leaving
        )
        self._rounds = 0
        self._service_fault: str | None = None  # why the service of the ports cannot be reached
        self._not_before: dict[int, int] = {}  # id of a meter -> the round from which on its port is tried again

    async def open(self) -> None:
        """Try every missing port once."""
        self._rounds += 1
        inputs, outputs = self._bank.missing()
        if not inputs and not outputs:
            return
        await self._refresh()
        await self._apart(lambda: self._opener.prepare(_meant(self._inputs, inputs), _meant(self._outputs, outputs)))
        for source in inputs:
            await self._open(source, self._inputs)
        for output in outputs:
            await self._open(output, self._outputs)

    async def _refresh(self) -> None:
        """Connect to the service of the ports again if it was gone. Meanwhile byte devices may come back."""
        fault = await self._apart(lambda: _tried(self._opener.system.refresh))
        if fault != self._service_fault:
            self._bank.events.tell("ports", fault or "the service of the ports is back")
        self._service_fault = fault

    async def _open(self, index: int, way: _Direction[_Wanted, _Port]) -> None:
        """Try one port. At any moment an edit may remove it from the rig, or give its name to another port."""
        name, meter = way.names[index], way.meters[index]
        wanted = way.wanted().get(name)
        if wanted is None or meter.open or self._rounds < self._not_before.get(id(meter), 0):
            return
        port = await self._apart(lambda: _tried(lambda: way.open(name, wanted)))
        if isinstance(port, str):
            meter.last_error = port
            return
        holder = way.holder(port.name)
        if way.wanted().get(name) != wanted or (holder is not None and way.leaving(holder)):
            port.close()  # if an edit gave the port this name, a later round opens it
        elif holder is not None:
            port.close()
            meter.last_error = f'it leads to the port "{port.name}", which has another name of the rig already'
            self._not_before[id(meter)] = self._rounds + _TAKEN
        else:
            way.attach(index, port)


def _meant(way: _Direction[_Wanted, _Port], missing: Sequence[int]) -> list[_Wanted]:
    wanted = way.wanted()
    return [wanted[way.names[index]] for index in missing if way.names[index] in wanted]


def _tried(call: Callable[[], _Found]) -> _Found | str:
    """What it returns, or why it failed.

    An exception that crosses threads would leave 25 KB of frames, and the garbage collector is off during a show.
    """
    try:
        return call()
    except PortError as fault:
        return str(fault)
