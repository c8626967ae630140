"""The ports that a machine lends: opened, lost, stuck, back, and told of by a token each. Loop only.

What arrives and what is ordered goes through `lending`, whose base this is.
"""

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

import trio

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.cluster.pure.output_lender import OutputLender
from engine.core.cable.output_cable import Delivery
from engine.core.cable.silencing_messages import SWEEP
from engine.core.cable.speed import pace
from engine.live.hotplug import tried
from engine.live.meters import PortMeter
from engine.live.port_bank import speed_of
from engine.live.port_opening import PortOpener
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.live.reader import InputReader
from engine.ports.port import InputPort, OutputPort, PortError, PortGone
from engine.rig.models.rig import Input, Output, Rig

_Port = TypeVar("_Port", InputPort, OutputPort)
_Wanted = TypeVar("_Wanted", Input, Output)

_SPAN: Final = 5  # looks over which the load of a cable is told


class LenderPorts(ABC):
    """By name as in the rig."""

    def __init__(self, rig: Rig, link: Link, opener: PortOpener, clock: Callable[[], int], started: int) -> None:
        """`clock` is monotonic (ns); `started` is greater at each start of this machine."""
        network = rig.network
        assert network is not None  # a rig of one machine lends nothing
        self.me = network.machine
        self.names = NetworkKeys(rig.rig.name)
        self.link = link
        self.clock = clock
        self.inputs: dict[str, Input] = {}
        self.outputs: dict[str, Output] = {}
        self.in_meters: dict[str, PortMeter] = {}
        self.out_meters: dict[str, PortMeter] = {}
        self.inbox = InputReader({}, clock)
        self.sources: list[str] = []  # names of inputs by the index that the inbox knows
        self.gate = LenderEndpoint(OutputLender({}, started), network, link, self.names, self.poke, clock)
        self._opener = opener
        self._ports: dict[str, OutputPort] = {}
        self._stuck: set[str] = set()  # outputs that are open and refuse what they are sent
        self._tokens: deque[tuple[str, bool]] = deque()  # to be put up or taken down
        self._news = trio.Event()
        self._carried: dict[str, deque[tuple[int, int]]] = {}

    @abstractmethod
    def poke(self) -> None:  # any thread
        """There may be something to do."""

    @abstractmethod
    def send(self, deliveries: Sequence[Delivery]) -> None:
        """Hand these to the drivers."""

    @abstractmethod
    def tell(self, port: str, text: str) -> None:
        """One sentence for the player."""

    # Which

    def want(self, rig: Rig) -> None:
        """Lend what this rig has here, from now on; what it has here no more, or elsewhere, is let go of."""
        inputs = {name: port for name, port in rig.inputs.items() if rig.home(port) == self.me}
        outputs = {name: port for name, port in rig.outputs.items() if rig.home(port) == self.me}
        for name in [name for name, port in self.inputs.items() if inputs.get(name) != port]:
            self._let_go_of_input(name)
        for name, old in [*self.outputs.items()]:
            new = outputs.get(name)
            if new is None or (new.port, new.device) != (old.port, old.device):
                self._let_go_of_output(name)
        self.inputs, self.outputs = inputs, outputs
        self.sources += [name for name in inputs if name not in self.sources]
        for name in inputs:
            self.in_meters.setdefault(name, PortMeter())
        with self.gate.lender() as lender:
            for name, output in outputs.items():
                self.out_meters.setdefault(name, PortMeter())
                port = self._ports.get(name)
                lender.lend(name, pace(output, speed_of(port.flow) if port is not None else None))
                if port is None:
                    lender.pulled(name)

    def _let_go_of_input(self, name: str) -> None:
        if self.in_meters[name].open:
            self.inbox.remove(self.sources.index(name))
            self._put_away(self.in_meters[name], "in", name, None)

    def _let_go_of_output(self, name: str) -> None:
        with self.gate.lender() as lender:
            deliveries = lender.withdraw(self.clock(), name)
        self.send(deliveries)
        if (port := self._ports.pop(name, None)) is not None:
            port.close()
            self._put_away(self.out_meters[name], "out", name, None)

    # There and gone

    async def open_missing(self) -> None:
        """Try to open all that is not."""
        if all(meter.open for meter in self._meters()):
            return
        await in_a_thread(lambda: tried(self._opener.system.refresh))
        await self._open("in", self.inputs, self.in_meters, self._opener.input, self._attach_input)
        await self._open("out", self.outputs, self.out_meters, self._opener.output, self._attach_output)

    def _meters(self) -> list[PortMeter]:
        return [*(self.in_meters[name] for name in self.inputs), *(self.out_meters[name] for name in self.outputs)]

    def missing(self) -> list[tuple[str, str]]:
        """Names and reasons."""
        named = zip((*self.inputs, *self.outputs), self._meters(), strict=True)
        return [(name, meter.last_error or "") for name, meter in named if not meter.open]

    async def _open(
        self,
        way: str,
        wanted: Mapping[str, _Wanted],
        meters: Mapping[str, PortMeter],
        open_one: Callable[[str, _Wanted], _Port],
        attach: Callable[[str, _Port], None],
    ) -> None:
        for name in [*wanted]:
            if not meters[name].open:
                await self._open_one(way, name, wanted[name], meters, open_one, attach)

    async def _open_one(
        self,
        way: str,
        name: str,
        wanted: _Wanted,
        meters: Mapping[str, PortMeter],
        open_one: Callable[[str, _Wanted], _Port],
        attach: Callable[[str, _Port], None],
    ) -> None:
        port = await in_a_thread(lambda: tried(lambda: open_one(name, wanted)))
        if isinstance(port, str):
            meters[name].last_error = port
        elif (self.inputs if way == "in" else self.outputs).get(name) != wanted:
            port.close()  # the rig has changed meanwhile
        elif any(other.port == port.name for other in meters.values()):
            port.close()
            meters[name].last_error = f'it leads to the port "{port.name}", which has another name already'
        else:
            meters[name].plugged(port.name)
            attach(name, port)
            self._token(way, name, True)
            if meters[name].returns > 1:
                self.tell(name, f'is open ("{port.name}")')

    def _attach_input(self, name: str, port: InputPort) -> None:
        self.inbox.add(self.sources.index(name), port)

    def _attach_output(self, name: str, port: OutputPort) -> None:
        self._ports[name] = port
        self._plug_in(name, port)

    def _plug_in(self, name: str, port: OutputPort) -> None:
        with self.gate.lender() as lender:
            speed = pace(self.outputs[name], speed_of(port.flow))
            deliveries = lender.plugged(self.clock(), name, speed)
        self.send(deliveries)

    def lose_input(self, source: int, reason: str) -> None:
        """It was pulled."""
        name = self.sources[source]
        self._put_away(self.in_meters[name], "in", name, reason)

    def lose_output(self, name: str, reason: str) -> None:
        """It was pulled."""
        port = self._ports.pop(name, None)
        self._stuck.discard(name)
        if port is not None:
            port.close()
        with self.gate.lender() as lender:
            lender.pulled(name)
        self._put_away(self.out_meters[name], "out", name, reason)

    def get_stuck(self, name: str) -> None:
        """It is there and refuses a message: to the engines it is as if it were pulled."""
        if name not in self._stuck:
            self._stuck.add(name)
            self._token("out", name, False)
            with self.gate.lender() as lender:
                lender.pulled(name)

    def _put_away(self, meter: PortMeter, way: str, name: str, reason: str | None) -> None:
        meter.pulled(reason)
        self._token(way, name, False)
        if reason is not None:
            self.tell(name, reason)

    def port(self, name: str) -> OutputPort | None:
        """An output that takes messages."""
        return None if name in self._stuck else self._ports.get(name)

    def check_outputs(self) -> None:
        """Notice outputs that are gone although nothing was sent there, and those that take messages again."""
        for name, port in [*self._ports.items()]:
            try:
                port.check()
                if name in self._stuck:
                    port.send(SWEEP[0])
                    self._stuck.discard(name)
                    self._plug_in(name, port)
                    self._token("out", name, True)
                    self.tell(name, "takes messages again")
            except PortGone as fault:
                self.lose_output(name, str(fault))
            except PortError as fault:
                self.out_meters[name].last_error = str(fault)  # still stuck

    def close_outputs(self) -> None:
        """Let go of every output."""
        for port in self._ports.values():
            port.close()
        self._ports.clear()

    # What is told

    def _token(self, way: str, name: str, there: bool) -> None:
        self._tokens.append((self.names.plugged(self.me, way, name), there))
        self._news.set()

    async def tell_tokens(self) -> None:
        """Put up and take down the ports' tokens as they come and go, in that order. Runs until cancelled."""
        while True:
            while self._tokens:
                key, there = self._tokens.popleft()
                await to_its_end(self.link.alive if there else self.link.gone, key)
            self._news = trio.Event()
            await self._news.wait()

    def meter(self) -> dict[str, Any]:
        """What the engines are shown of this machine's ports, fit for JSON; to be called five times a second."""
        repairs = self.inbox.repairs()
        with self.gate.lender() as lender:
            cables = dict(lender.cables())
            held = {name: lender.held(name) for name in cables}
            told = {"epoch": lender.epoch, "holder": lender.holder, "fenced": lender.fenced, "lost": lender.lost}
        now = self.clock()
        return {
            **told,
            "inputs": {
                name: {
                    **_counted(self.in_meters[name]),
                    "shed": self.inbox.shed(self.sources.index(name)),
                    "repairs": repairs.get(self.sources.index(name), 0),
                }
                for name in self.inputs
            },
            "outputs": {
                name: {
                    **_counted(self.out_meters[name]),
                    "longest": self._ports[name].longest if name in self._ports else None,
                    "shed": cables[name].counts.shed,
                    "replaced": cables[name].counts.replaced,
                    "waiting": cables[name].due is not None,
                    "load": self._load(now, name, cables[name].carried(now)),
                    "held": held[name],
                }
                for name in self.outputs
            },
        }

    def _load(self, now: int, name: str, carried: int) -> float:
        """The share of the last second that a paced cable was busy."""
        kept = self._carried.setdefault(name, deque(maxlen=_SPAN + 1))
        if kept and kept[-1][1] > carried:  # it was out, and its wire is a new one
            kept.clear()
        kept.append((now, carried))
        time = now - kept[0][0]
        return round(min(1.0, (carried - kept[0][1]) / time), 2) if time else 0.0


def _counted(meter: PortMeter) -> dict[str, Any]:
    return {
        "port": meter.port,
        "messages": meter.messages,
        "dropped": meter.dropped,
        "last_error": meter.last_error,
    }
