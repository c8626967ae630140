"""The other machines as an engine sees them: which are there, what is plugged in, and whose outputs we may play.

Reports arrive in threads of the link. They are written to sets and maps that the loop reads, and `news` is called.
"""

from collections.abc import Callable
from functools import partial
from typing import Final

from engine.cluster.endpoints.hearing import TOO_MUCH, Hearing
from engine.cluster.endpoints.remote_ports import RemoteInput, RemoteOutput
from engine.cluster.endpoints.shared_input import SharedInput
from engine.cluster.link.keys import NetworkKeys, machine_of, port_of
from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import OrderSender, pack_give, read_events
from engine.cluster.pure.output_lender import ClaimRefused, Grant
from engine.cluster.pure.words import Claim, Lease, Report, pack, read_answer, read_word
from engine.ports.port import InputPort, PortError, PortGone
from engine.rig.models.network import Network
from engine.rig.models.rig import Input, Output, Rig

_MOST_PORTS: Final = 10_000  # of all other machines


class RemoteMachines:
    """Opens the ports of other machines for one engine. Loop only, unless it says otherwise."""

    def __init__(self, rig: Rig, link: Link, keys: NetworkKeys, news: Callable[[], None] = lambda: None) -> None:
        """`news` is called in a thread of the link when something below has changed; it must be quick."""
        network = rig.network
        assert network is not None  # a rig of one machine has no others
        self.network: Network = network
        self.me = network.machine
        self.link = link
        self.keys = keys
        self.alive: set[str] = set()  # machines whose programs run, without this one
        self.leases: dict[str, Lease] = {}
        self.reports: dict[str, Report] = {}
        self.hearing = Hearing()
        self.leading = True  # this engine is in charge
        self.to_here: Callable[[str, int], int] = lambda machine, at: at  # a time of a machine's clock in ours (ns)
        self.news = news
        self._plugged: set[str] = set()  # keys of tokens
        self._inputs: dict[str, RemoteInput] = {}  # by key
        self._outputs: dict[str, tuple[str, RemoteOutput]] = {}  # by key, with the machine
        self._senders: dict[str, tuple[int, dict[str, OrderSender]]] = {}  # by machine: our epoch, and a sender by key

    def begin(self) -> None:  # blocks; call it in a thread
        """Listen to all other machines of the rig."""
        for machine in self.network.machines:
            if machine != self.me:
                self.link.watch(self.keys.alive(machine), self._sees_machine)
                self.link.watch(self.keys.plugs(machine), self._sees_port)
                refuse = partial(self.hearing.refuse, machine)
                floods = partial(self._floods, machine)
                self.link.subscribe(self.keys.meter(machine), self._hear_report, partial(refuse, "report", TOO_MUCH))
                self.link.subscribe(self.keys.inputs(machine), self._hear_events, floods)
                self.link.subscribe_state(
                    self.keys.lease(machine), self._hear_lease, partial(refuse, "lease", TOO_MUCH)
                )

    # What arrives: threads of the link

    def _sees_machine(self, key: str, there: bool) -> None:
        machine = machine_of(key)
        (self.alive.add if there else self.alive.discard)(machine)
        if not there:
            self._lose_ports(lambda key: machine_of(key) == machine, f"{machine} is gone")
        self.news()

    def _sees_port(self, key: str, there: bool) -> None:
        """Nobody waits for this: missing ports are looked for several times per second, however often one flickers."""
        if not there:
            self._plugged.discard(key)
            self._lose_port(key)
        elif len(self._plugged) < _MOST_PORTS:
            self._plugged.add(key)

    def _lose_port(self, token: str) -> None:
        machine, name = machine_of(token), port_of(token)
        port: RemoteInput | RemoteOutput | None
        if token == self.keys.plugged(machine, "in", name):
            port = self._inputs.get(self.keys.input(machine, name))
        else:
            _, port = self._outputs.get(self.keys.output(machine, name), (machine, None))
        if port is not None:
            port.gone = port.gone or f"{name} at {machine} is gone"

    def _lose_ports(self, meant: Callable[[str], bool], why: str) -> None:
        for key, source in [*self._inputs.items()]:
            if meant(self._token(key)):
                source.gone = source.gone or why
        for key, (_, output) in [*self._outputs.items()]:
            if meant(self._token(key)):
                output.gone = output.gone or why

    def _token(self, key: str) -> str:
        """The token of the port that this key belongs to."""
        way = "in" if key in self._inputs else "out"
        return self.keys.plugged(machine_of(key), way, port_of(key))

    def _hear_events(self, key: str, payload: bytes) -> None:
        batch = self.hearing.read(machine_of(key), "input", read_events, payload)
        source = self._inputs.get(key)
        if batch is not None and source is not None:
            source.hear(batch)

    def _floods(self, machine: str) -> None:
        """Its inputs send more than can be taken, and what is left out may be releases: they count as pulled."""
        self.hearing.refuse(machine, "input", TOO_MUCH)
        why = f"{machine} sends more than can be taken"
        self._lose_ports(lambda token: token.startswith(self.keys.plugged(machine, "in", "")), why)
        self.news()

    def _hear_lease(self, key: str, payload: bytes) -> None:
        machine = machine_of(key)
        lease = self.hearing.read(machine, "lease", self._read_lease, payload)
        if lease is None:
            return
        self.leases[machine] = lease
        if lease.holder == self.me:
            for port in lease.incomplete:
                _, output = self._outputs.get(self.keys.output(machine, port), (machine, None))
                if output is not None:
                    output.incomplete = True
        self.news()

    def _read_lease(self, payload: bytes) -> Lease:
        lease = read_word(Lease, payload)
        self._check_engine(lease.holder)
        self._check_engine(lease.given_to)
        return lease

    def _read_answer(self, payload: bytes) -> Grant | ClaimRefused:
        answer = read_answer(payload)
        if isinstance(answer, ClaimRefused):
            self._check_engine(answer.holder)
        return answer

    def _check_engine(self, machine: str | None) -> None:
        if machine is not None and machine not in self.network.engines:
            raise ValueError("it names a machine that is not an engine of this rig")

    def _hear_report(self, key: str, payload: bytes) -> None:
        machine = machine_of(key)
        report = self.hearing.read(machine, "report", partial(read_word, Report), payload)
        if report is None:
            return
        self.reports[machine] = report
        for name, input_report in report.inputs.items():
            if (source := self._inputs.get(self.keys.input(machine, name))) is not None:
                source.take_report(input_report)
        for name, output_report in report.outputs.items():
            if (found := self._outputs.get(self.keys.output(machine, name))) is not None:
                found[1].take_report(output_report)

    # Opening: any one thread

    def has(self, wanted: Input | Output) -> bool:
        """Whether this port is at another machine."""
        return self.network.home(wanted.machine) != self.me

    def sees(self, name: str, wanted: Input | Output) -> bool:
        """Whether this port is plugged in there."""
        way = "in" if isinstance(wanted, Input) else "out"
        return self.keys.plugged(self.network.home(wanted.machine), way, name) in self._plugged

    def share(self, name: str, port: InputPort) -> InputPort:
        """An input that is plugged in here, shared with the other engine if there is one."""
        if self.network.standby is None:
            return port
        key, token = self.keys.input(self.me, name), self.keys.plugged(self.me, "in", name)
        return SharedInput(port, self.link, key, token)

    def input(self, name: str, wanted: Input) -> RemoteInput:
        """A rig's input at another machine. Raises PortError."""
        machine = self._need(name, "in", wanted)
        source = RemoteInput(f"{name} at {machine}", lambda at: self.to_here(machine, at))
        self._inputs[self.keys.input(machine, name)] = source
        return source

    def output(self, name: str, wanted: Output) -> RemoteOutput:
        """A rig's output at another machine. Raises PortError."""
        machine = self._need(name, "out", wanted)
        key = self.keys.output(machine, name)
        sender = self._sender(machine, key)
        if self.leading and sender is None:
            holder = self.leases[machine].holder if machine in self.leases else None
            raise PortError(f"{machine} is played by {holder}" if holder else f"{machine} has not let us play yet")
        output = RemoteOutput(f"{name} at {machine}", self.link, key)
        self._outputs[key] = machine, output
        if machine in self.reports and (report := self.reports[machine].outputs.get(name)) is not None:
            output.take_report(report)
        if sender is not None:
            output.play(0, sender)
        return output

    def _need(self, name: str, way: str, wanted: Input | Output) -> str:
        machine = self.network.home(wanted.machine)
        if machine not in self.alive:
            raise PortGone(f"{machine} is not there")
        if self.keys.plugged(machine, way, name) not in self._plugged:
            raise PortError(f"it is not plugged in at {machine}")
        return machine

    # Who plays

    def claim(self, machine: str) -> Grant | ClaimRefused | None:  # blocks; call it in a thread
        """Ask a machine for its outputs; None if it does not answer."""
        answers = self.link.ask(self.keys.claim(machine), pack(Claim(who=self.me)))
        return self.hearing.read(machine, "answer", self._read_answer, answers[0]) if answers else None

    def play(self, now: int, machine: str, epoch: int, since: int | None = None, exact: bool = False) -> None:
        """The outputs of a machine are ours in this epoch, and shall sound as they do in this engine.

        `since` and `exact`: see RemoteOutput.play.
        """
        self._senders[machine] = epoch, {}
        for key, (of, output) in self._outputs.items():
            sender = self._sender(machine, key)
            if of == machine and not output.gone and sender is not None:
                output.play(now, sender, since, exact)

    def lost(self, machine: str, why: str) -> None:
        """Its outputs are no longer ours. While we are in charge they count as pulled until they are ours again."""
        self._senders.pop(machine, None)
        for of, output in self._outputs.values():
            if of == machine:
                output.follow()
                if self.leading:
                    output.gone = output.gone or why

    def follow(self) -> None:
        """Another engine is in charge: play on, but send nothing."""
        self.leading = False
        self._senders.clear()
        for _, output in self._outputs.values():
            output.follow()

    def give(self, machine: str, epoch: int, to: str) -> None:
        """Let another engine claim what we hold; earlier orders are played first. May be repeated."""
        self.link.publish(self.keys.output(machine, "-"), pack_give(epoch, to))

    def _sender(self, machine: str, key: str) -> OrderSender | None:
        """Its numbers continue if the cable was out meanwhile. None if the outputs are not ours."""
        epoch, senders = self._senders.get(machine, (0, None))
        return None if senders is None else senders.setdefault(key, OrderSender(epoch))
