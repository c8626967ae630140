"""The ports that a machine lends: which they are, and what its lender and the engines learn when one comes or goes.

Engines see each port that is open and takes messages by its token on the network. Loop only.
"""

from collections import deque
from collections.abc import Callable, Mapping

import trio

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.core.cable.speed import pace
from engine.live.lent_rig import PortsHere
from engine.live.port_bank import PortBank, speed_of
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.ports.port import InputPort, OutputPort, PortError
from engine.rig.models.rig import Input, Output


class LentPorts:
    """The ports of one machine, in `bank`. An output has the same index there as in the lender's deliveries."""

    def __init__(
        self,
        machine: str,
        keys: NetworkKeys,
        link: Link,
        endpoint: LenderEndpoint,
        clock: Callable[[], int],
        tell: Callable[[str, str], None],
    ) -> None:
        """`clock` is monotonic (ns); `tell` gets a port's name and one sentence about it for the player."""
        self.reader = InputReader({}, clock)
        self.bank = PortBank(self, self.reader, clock)
        self._machine = machine
        self._keys = keys
        self._link = link
        self._endpoint = endpoint
        self._clock = clock
        self._tell = tell
        self._inputs: dict[str, Input] = {}
        self._outputs: dict[str, Output] = {}
        self._tokens: deque[tuple[str, bool]] = deque()  # to be put up (True) or taken down, in this order
        self._more_tokens = trio.Event()

    # Which ports are lent

    def wanted_inputs(self) -> Mapping[str, Input]:
        """See PortEvents."""
        return self._inputs

    def wanted_outputs(self) -> Mapping[str, Output]:
        """See PortEvents."""
        return self._outputs

    def lend(self, ports: PortsHere) -> None:
        """Lend these ports, and close those that are not among them."""
        inputs, outputs = ports
        for name in [name for name, port in self._inputs.items() if inputs.get(name) != port]:
            self.bank.release_input(self.bank.inputs.index(name))
        for name in [name for name, port in self._outputs.items() if not _same_port(port, outputs.get(name))]:
            self._withdraw(name)
        self._inputs, self._outputs = inputs, outputs
        still_open = {output: port for output, port in self.bank.open_outputs() if not self.bank.leaving(output)}
        with self._endpoint.lender() as lender:
            for name, wanted in outputs.items():
                port = still_open.get(self.bank.outputs.index(name)) if name in self.bank.outputs else None
                lender.lend(name, pace(wanted, speed_of(port.flow) if port is not None else None))
                if port is None:
                    lender.pulled(name)
            self.bank.extend(inputs, lender.outputs)

    def _withdraw(self, name: str) -> None:
        now = self._clock()
        with self._endpoint.lender() as lender:
            deliveries = lender.withdraw(now, name)
        self.bank.send(now, deliveries)
        self.bank.release_output(self.bank.outputs.index(name))

    def missing(self) -> list[tuple[str, str]]:
        """The names of ports that are not open, and the reasons."""
        bank = self.bank
        inputs, outputs = bank.missing()
        named = [(bank.inputs[source], bank.in_meters[source]) for source in inputs]
        named += [(bank.outputs[output], bank.out_meters[output]) for output in outputs]
        return [(name, meter.last_error or "") for name, meter in named]

    # What becomes of them: see PortEvents

    def input_opened(self, source: int, port: InputPort) -> None:
        """Engines may listen to it."""
        name, meter = self.bank.inputs[source], self.bank.in_meters[source]
        self._token("in", name, True)
        if meter.returns > 1:
            self.tell(name, f'is open ("{port.name}")')

    def input_gone(self, source: int) -> None:
        """Engines release what it held."""
        self._token("in", self.bank.inputs[source], False)

    def output_opened(self, output: int, port: OutputPort) -> None:
        """What sounded when it was pulled is released, and engines may play it."""
        name, meter = self.bank.outputs[output], self.bank.out_meters[output]
        self._plug_in(output, port)
        if meter.returns > 1:
            self.tell(name, f'is open ("{port.name}")')

    def output_unstuck(self, output: int, port: OutputPort) -> None:
        """The same."""
        self._plug_in(output, port)
        self.tell(self.bank.outputs[output], "takes messages again")

    def _plug_in(self, output: int, port: OutputPort) -> None:
        now, name = self._clock(), self.bank.outputs[output]
        with self._endpoint.lender() as lender:
            deliveries = lender.plugged(now, name, pace(self._outputs[name], speed_of(port.flow)))
        self.bank.send(now, deliveries)
        self._token("out", name, True)

    def output_stuck(self, output: int) -> None:
        """To the engines it is as if it had been pulled."""
        self.output_gone(output)

    def output_gone(self, output: int) -> None:
        """Orders for it come to nothing."""
        name = self.bank.outputs[output]
        self._token("out", name, False)
        with self._endpoint.lender() as lender:
            lender.pulled(name)

    def output_leaving(self, output: int) -> None:
        """The lender has withdrawn it already."""
        self._token("out", self.bank.outputs[output], False)

    def drained(self, output: int) -> bool:
        """Always: the last messages of a withdrawn output wait for nothing."""
        return True

    def output_closed(self, output: int) -> None:
        """Nothing is left to do."""

    def not_sent(self, now: int, output: int, message: bytes, fault: PortError | None) -> None:
        """Nothing to keep: the lender knows what sounded."""

    def tell(self, port: str, text: str) -> None:
        """Pass it on."""
        self._tell(port, text)

    # Tokens

    def _token(self, way: str, name: str, there: bool) -> None:
        self._tokens.append((self._keys.plugged(self._machine, way, name), there))
        self._more_tokens.set()

    async def show_tokens(self) -> None:
        """Put up and take down the tokens as ports come and go, in that order. Runs until cancelled."""
        while True:
            while self._tokens:
                key, there = self._tokens.popleft()
                await to_its_end(self._link.alive if there else self._link.gone, key)
            self._more_tokens = trio.Event()
            await self._more_tokens.wait()


def _same_port(one: Output, other: Output | None) -> bool:
    return other is not None and (one.port, one.device) == (other.port, other.device)
