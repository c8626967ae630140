"""The ports of a running show that come and go: pulled, put back, stuck, let go of by an edit. Loop only.

What is sent and told goes through the show, whose base this is.
"""

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Collection, Sequence
from typing import Final, Protocol, runtime_checkable

from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import RemoteCable, far_outputs
from engine.core.cable.silencing_messages import SWEEP
from engine.core.cable.speed import CableSpeed
from engine.core.engine import Engine
from engine.live.backlog import Arrival
from engine.live.meters import PortMeter
from engine.live.owed_releases import OwedReleases
from engine.live.port_opening import OpenPorts
from engine.live.recorder import FlightRecorder
from engine.ports.port import DriverFlow, InputPort, OutputPort, PortError, PortGone
from engine.rig.models.rig import Rig

_FAREWELL: Final = 2_000_000_000  # ns that the last releases for a port that is let go of may take


@runtime_checkable
class RemotePort(Protocol):
    """What the show needs of an output at another machine, beside what it needs of each."""

    def join(self, now: int, cable: RemoteCable) -> None:
        """It carries what this wire is told."""

    def flush(self, now: int) -> None:
        """Hand on what the wire was told since the last time."""


class ArrivalSource(Protocol):
    """What the show needs of an inbox."""

    due: int | None
    beat: int | None
    lost: deque[tuple[int, str]]

    def take(self) -> list[Arrival]: ...

    def add(self, source: int, port: InputPort) -> None: ...

    def remove(self, source: int) -> None: ...

    def waiting(self, source: int) -> bool: ...

    def repairs(self) -> dict[int, int]: ...

    def shed(self, source: int) -> int: ...

    def begun(self, source: int) -> bool: ...


def speed_of(flow: DriverFlow | None) -> CableSpeed | None:
    """How the core is to pace an output whose driver can take this much."""
    if flow is None:
        return None
    byte_ns = 1_000_000_000 // flow.per_second
    return CableSpeed(byte_ns, flow.ahead * byte_ns, flow.overhead)


class PortBank(ABC):
    """A rig's ports, by index; None for an output whose cable is out."""

    def __init__(self, rig: Rig, patch: OpenPorts, reader: ArrivalSource, clock: Callable[[], int]) -> None:
        """`clock` is monotonic (ns)."""
        self.engine = Engine(
            rig, {name: speed_of(port.flow) for name, port in patch.outputs.items()}, far=far_outputs(rig)
        )
        self.in_meters = [_meter(patch.inputs.get(name)) for name in rig.inputs]
        self.out_meters = [_meter(patch.outputs.get(name)) for name in rig.outputs]
        self.reader = reader
        self.clock = clock
        self.recorder = FlightRecorder()
        paces = {name: _pace(cable.speed) for name, cable in zip(rig.outputs, self.engine.cables, strict=True)}
        self.recorder.did(clock(), "start", paces, sorted(patch.outputs), sorted(self.engine.far))
        self._ports: list[OutputPort | None] = [patch.outputs.get(name) for name in rig.outputs]
        self._joined: dict[int, RemotePort] = {}  # outputs at other machines
        for output, port in enumerate(self._ports):
            if port is not None:
                self._join(output, port)
        self._missed = OwedReleases()
        self._stuck: set[int] = set()  # outputs that refused a message: what is there may hang
        self._leaving: list[tuple[int, OutputPort, int]] = []  # ports that an edit let go of, and until when (ns)
        for place, reason in patch.missing.items():
            what, name = place.split(".", 1)
            meters, names = (self.in_meters, self.inputs) if what == "inputs" else (self.out_meters, self.outputs)
            meters[names.index(name)].last_error = reason

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of inputs by index, those that an edit took out of the rig included."""
        return self.engine.inputs

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of outputs by index, those that an edit took out of the rig included."""
        return self.engine.outputs

    @abstractmethod
    def tell(self, port: str, text: str) -> None:
        """One sentence for the player."""

    @abstractmethod
    def _send(self, now: int, deliveries: Sequence[Delivery]) -> None:
        """Hand these, the core's answers at this time (ns), to the drivers."""

    def check_outputs(self) -> None:
        """Notice outputs that are gone although nothing was sent to them, and those that take messages again.

        Ports that an edit let go of are closed once the last releases have left.
        """
        for output, port in enumerate(self._ports):
            if port is None:
                continue
            try:
                port.check()
                if output in self._stuck:
                    port.send(SWEEP[0])
                    self._mend(output, port)
            except PortGone as fault:
                self._lose_output(output, str(fault))
            except PortError as fault:
                self.out_meters[output].last_error = str(fault)  # still stuck
        for leaving in list(self._leaving):
            if self.engine.cables[leaving[0]].due is None or self.clock() > leaving[2]:
                self._part_with(leaving)

    def _mend(self, output: int, port: OutputPort) -> None:
        """It refused messages and takes them again: as if its cable had been out meanwhile."""
        self._stuck.discard(output)
        self._restore(output, port)
        self.tell(self.outputs[output], "takes messages again; the scene was sent to it")

    def attach_input(self, source: int, port: InputPort) -> None:
        """The cable of an input is there, or back."""
        self.in_meters[source].plugged(port.name)
        self.recorder.did(self.clock(), "input there", self.inputs[source])
        self.engine.sensing.forget(source)
        self.reader.add(source, port)
        self.tell(self.inputs[source], f'is open ("{port.name}")')

    def clear_up(self) -> None:
        """The last engine may have left anything hanging, held or moved: every output is silenced and set to rest."""
        for output, port in enumerate(self._ports):
            if port is not None:
                self._restore(output, port)

    def restore(self, outputs: Collection[str]) -> None:
        """These were played by nobody yet: they are silenced, set to rest and set up, as far as they are there."""
        for output, port in enumerate(self._ports):
            if port is not None and self.outputs[output] in outputs:
                self._restore(output, port)
        self._end_turn()

    def attach_output(self, output: int, port: OutputPort) -> None:
        """The cable of an output is there, or back: it is silenced, set to rest and put on the scene's sounds."""
        self._ports[output] = port
        self.out_meters[output].plugged(port.name)
        self._join(output, port)
        self._restore(output, port)
        self.tell(self.outputs[output], f'is open ("{port.name}"); the scene was sent to it')

    def _join(self, output: int, port: OutputPort) -> None:
        cable = self.engine.cables[output]
        if isinstance(port, RemotePort) and cable.remote is not None:
            self._joined[output] = port
            port.join(self.clock(), cable.remote)

    def _end_turn(self) -> None:
        """What this turn of the loop has for other machines goes together; the core says when it is next wanted."""
        self.reader.due, self.reader.beat = self.engine.due, self.engine.sync.beat
        for port in self._joined.values():
            port.flush(self.clock())

    def _restore(self, output: int, port: OutputPort) -> None:
        now, speed, owed = self.clock(), speed_of(port.flow), self._missed.owed(output)
        self.recorder.did(now, "output there", self.outputs[output], _pace(speed), [message.hex() for message in owed])
        self._send(now, self.engine.output_back(now, output, speed, owed))
        self._end_turn()

    def longest(self, output: int) -> int | None:
        """The longest message in bytes that this output surely carries whole; None if any, or if it is not there."""
        port = self._ports[output]
        return port.longest if port is not None else None

    def missing(self) -> tuple[list[int], list[int]]:
        """Inputs and outputs of the rig that are not open."""
        rig = self.engine.rig
        unwanted = {output for output, _, _ in self._leaving}
        if self.engine.led_by is not None:
            unwanted |= self._plugged_in_here()
        return (
            [i for i, name in enumerate(self.inputs) if name in rig.inputs and not self.in_meters[i].open],
            [
                i
                for i, name in enumerate(self.outputs)
                if name in rig.outputs and self._ports[i] is None and i not in unwanted
            ],
        )

    def stuck(self) -> list[int]:
        """Outputs that are open and take no messages."""
        return sorted(self._stuck)

    def _lose_output(self, output: int, reason: str) -> None:
        port, self._ports[output] = self._ports[output], None
        self._joined.pop(output, None)
        if port is not None:
            port.close()
        self.out_meters[output].pulled(reason)
        self._stuck.discard(output)
        self.recorder.did(self.clock(), "output lost", self.outputs[output])
        self.engine.loops.lift(output=output)
        self.tell(self.outputs[output], reason)

    def _take_losses(self, lost: Sequence[tuple[int, str]]) -> None:
        for source, reason in lost:
            if self.reader.waiting(source):  # what it had sent comes first, or its last notes would be held for ever
                self.reader.lost.append((source, reason))
                continue
            self.in_meters[source].pulled(reason)
            self.tell(self.inputs[source], reason)
            self._lose_input(source)

    def _lose_input(self, source: int) -> None:
        now = self.clock()
        self.recorder.did(now, "input lost", self.inputs[source])
        self._send(now, self.engine.input_lost(now, source))
        self._end_turn()

    def step_aside(self) -> None:
        """Another engine is in charge: what is plugged in here comes to rest and is let go of until we are again."""
        for output in sorted(self._plugged_in_here()):
            self.let_go_of_output(output)

    def _plugged_in_here(self) -> set[int]:
        return {cable.output for cable in self.engine.cables if cable.remote is None}

    def let_go_of_input(self, source: int) -> None:
        """This port is no longer wanted; what it held is released."""
        if self.in_meters[source].open:
            self.in_meters[source].pulled()
            self._lose_input(source)
            self.reader.remove(source)

    def let_go_of_output(self, output: int) -> None:
        """This port is no longer wanted; what sounds there is released, and it is closed when that has left."""
        port = self._ports[output]
        if port is not None and all(output != leaving for leaving, _, _ in self._leaving):
            now = self.clock()
            self.recorder.did(now, "output left", self.outputs[output])
            self._send(now, self.engine.output_left(now, output))
            self._end_turn()
            self._leaving.append((output, port, now + _FAREWELL))

    def _part_with(self, leaving: tuple[int, OutputPort, int]) -> None:
        self._leaving.remove(leaving)
        output, port, _ = leaving
        if self._ports[output] is port:
            self._ports[output] = None
            self._joined.pop(output, None)
            self.recorder.did(self.clock(), "output closed", self.outputs[output])
            self.out_meters[output].pulled()
            self._stuck.discard(output)
        port.close()

    def close_outputs(self) -> None:
        """Let go of every output."""
        for port in (*self._ports, *(port for _, port, _ in self._leaving)):
            if port is not None:
                port.close()
        self._ports = [None] * len(self._ports)
        self._leaving = []


def _pace(speed: CableSpeed | None) -> list[int] | None:
    """A driver's pace, fit for JSON; None for none, and for cables, which have their own."""
    return None if speed is None else [speed.byte_ns, speed.ahead_ns, speed.overhead]


def _meter(port: InputPort | OutputPort | None) -> PortMeter:
    return PortMeter(port=port.name if port is not None else None)
