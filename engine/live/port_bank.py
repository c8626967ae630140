"""The open ports of one machine, held by index: opened, stuck, metered, pulled, closed and missing. Loop only.

The engine's show and a machine that lends its ports hold one each. What it means to them that a port comes or goes is
in their `PortEvents`.
"""

from collections import deque
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from engine.core.cable.output_cable import Delivery
from engine.core.cable.silencing_messages import SWEEP
from engine.core.cable.speed import CableSpeed
from engine.live.meters import PortMeter
from engine.live.port_opening import OpenPorts
from engine.live.reader import Arrival
from engine.live.recorder import SHORT, FlightRecorder
from engine.midi.kinds import SYSEX
from engine.ports.port import DriverFlow, InputPort, OutputPort, PortError, PortGone
from engine.rig.models.rig import Input, Output

#: seconds in which any driver has passed on what it was handed. JACK takes it once a period, and RtMidi's other thread
#: not before: closing at once would lose the last releases.
DRIVERS_TAKE: Final = 0.05
_DRIVERS_TAKE_NS: Final = round(DRIVERS_TAKE * 1_000_000_000)
_FAREWELL: Final = 2_000_000_000  # ns that the last releases of a port may take before it is closed


class PortEvents(Protocol):
    """What the holder of a bank does when its ports come and go, and which ports it needs. Ports go by index."""

    def wanted_inputs(self) -> Mapping[str, Input]:
        """The inputs that should be open now, by name."""

    def wanted_outputs(self) -> Mapping[str, Output]:
        """The outputs that should be open now, by name."""

    def input_opened(self, source: int, port: InputPort) -> None:
        """An input has been opened, for the first time or again. It is read from now on."""

    def input_gone(self, source: int) -> None:
        """An input was pulled or closed; what it holds has to be released."""

    def output_opened(self, output: int, port: OutputPort) -> None:
        """An output has been opened, for the first time or again. Anything may be hanging in the instrument."""

    def output_unstuck(self, output: int, port: OutputPort) -> None:
        """An output that refused messages takes them again."""

    def output_stuck(self, output: int) -> None:
        """An output is open and refuses messages."""

    def output_gone(self, output: int) -> None:
        """An output was pulled."""

    def output_leaving(self, output: int) -> None:
        """An output is about to be closed; the last chance to send it something."""

    def drained(self, output: int) -> bool:
        """Whether everything meant for an output that is about to be closed has left."""

    def output_closed(self, output: int) -> None:
        """An output was closed on purpose."""

    def not_sent(self, now: int, output: int, message: bytes, fault: PortError | None) -> None:
        """A message did not reach its output's driver; `fault` is None if the port was not open."""

    def tell(self, port: str, text: str) -> None:
        """One sentence for the player about a port, by name."""


class ArrivalSource(Protocol):
    """What a bank and its holder need of an input reader."""

    due: int | None
    beat: int | None
    lost: deque[tuple[int, str]]
    oldest_wait: int

    def take(self) -> list[Arrival]: ...

    def add(self, source: int, port: InputPort) -> None: ...

    def remove(self, source: int) -> None: ...

    def port(self, source: int) -> InputPort | None: ...

    def waiting(self, source: int) -> int: ...

    def repairs(self) -> dict[int, int]: ...

    def shed(self, source: int) -> int: ...

    def begun(self, source: int) -> bool: ...


@dataclass
class _Leaving:
    """An output that is about to be closed: until when at the latest, and since when its cable is idle (ns).

    `place`: which port it is, if it may be needed again.
    """

    until: int
    idle_since: int | None
    place: Hashable  # mypyc finds no `object` in a dataclass

    def may_close(self, now: int, drained: bool) -> bool:
        """Whether its last messages have passed through the driver by now, or it has had time enough."""
        if not drained:
            self.idle_since = None
        elif self.idle_since is None:
            self.idle_since = now
        passed = self.idle_since is not None and now - self.idle_since >= _DRIVERS_TAKE_NS
        return passed or now > self.until


class PortBank:
    """Inputs and outputs by index. A name keeps its index for good, even when an edit removes it from the rig."""

    def __init__(
        self,
        events: PortEvents,
        reader: ArrivalSource,
        clock: Callable[[], int],
        recorder: FlightRecorder | None = None,
    ) -> None:
        """`clock` is monotonic (ns); `recorder`: where what is sent is recorded, if anywhere."""
        self._recorder = recorder
        self.reader = reader
        self.inputs: list[str] = []
        self.outputs: list[str] = []
        self.in_meters: list[PortMeter] = []
        self.out_meters: list[PortMeter] = []
        self.events = events
        self._clock = clock
        self._open: list[OutputPort | None] = []  # outputs; None where the cable is out
        self._stuck: set[int] = set()  # outputs that refused a message: a note may hang there
        self._leaving: dict[int, _Leaving] = {}  # outputs about to be closed

    # Which ports there are

    def extend(self, inputs: Iterable[str], outputs: Iterable[str]) -> None:
        """Add these names behind the others, closed for now; names that the bank knows already are skipped."""
        for names, meters, more in ((self.inputs, self.in_meters, inputs), (self.outputs, self.out_meters, outputs)):
            names += [name for name in more if name not in names]
            meters += [PortMeter() for _ in names[len(meters) :]]
        self._open += [None] * (len(self.outputs) - len(self._open))

    def start(self, opened: OpenPorts) -> None:
        """Hold the ports that were opened before the start, and note why the others are missing."""
        for source, name in enumerate(self.inputs):
            self.in_meters[source].begin(opened.inputs.get(name), opened.missing.get(f"inputs.{name}"))
        for output, name in enumerate(self.outputs):
            self._open[output] = opened.outputs.get(name)
            self.out_meters[output].begin(self._open[output], opened.missing.get(f"outputs.{name}"))

    def open_outputs(self) -> Iterator[tuple[int, OutputPort]]:
        """The outputs that are open, those about to be closed included."""
        return ((output, port) for output, port in enumerate(self._open) if port is not None)

    def missing(self) -> tuple[list[int], list[int]]:
        """Inputs and outputs that should be open and are not."""
        inputs, outputs = self.events.wanted_inputs(), self.events.wanted_outputs()
        return (
            [source for source, name in enumerate(self.inputs) if name in inputs and not self.in_meters[source].open],
            [output for output, name in enumerate(self.outputs) if name in outputs and self._open[output] is None],
        )

    def leaving(self, output: int) -> bool:
        """Whether this output is open only until its last releases have left."""
        return output in self._leaving

    def stuck(self) -> list[int]:
        """Outputs that are open and take no messages."""
        return sorted(self._stuck)

    def longest(self, output: int) -> int | None:
        """The longest message in bytes that this output is sure to carry whole; None if any, or if it is not open."""
        port = self._open[output]
        return port.longest if port is not None else None

    def messages_heard(self) -> int:
        """How many messages have come in so far."""
        return sum(meter.messages for meter in self.in_meters)

    # Inputs

    def attach_input(self, source: int, port: InputPort) -> None:
        """This input has been opened, for the first time or again."""
        self.in_meters[source].plugged(port.name)
        self.events.input_opened(source, port)
        self.reader.add(source, port)

    def release_input(self, source: int) -> None:
        """Close an input that is no longer needed."""
        if self.in_meters[source].open:
            self.in_meters[source].pulled()
            self.events.input_gone(source)
            self.reader.remove(source)

    def take_losses(self, lost: Iterable[tuple[int, str]]) -> None:
        """These inputs were pulled or lost messages, with the reason, as the reader found out.

        A lost message may have been a release. So an input that lost some counts as pulled and plugged in again.
        """
        for source, reason in lost:
            if self.reader.waiting(source):  # what it had sent comes first, or its last notes would be held for ever
                self.reader.lost.append((source, reason))
                continue
            port = self.reader.port(source)
            if port is None:
                self.in_meters[source].pulled(reason)
            else:
                self.in_meters[source].drop(reason)
            self.events.tell(self.inputs[source], reason)
            self.events.input_gone(source)
            if port is not None:
                self.events.input_opened(source, port)

    # Outputs

    def send(
        self,
        now: int,
        deliveries: Sequence[Delivery],
        sent: Callable[[int, int, bytes], None] | None = None,
        since: int | None = None,
    ) -> None:
        """Hand these to the drivers at once, all at time `now` (ns), and record them.

        `sent` is called with time, output and message after each that a driver took. `since`: when what goes at once
        arrived or was due, which a driver that is exact to the frame makes up for.
        """
        since = now if since is None else since
        ports, meters, recorder = self._open, self.out_meters, self._recorder
        for output, message, start in deliveries:
            port = ports[output]
            if port is None:
                meters[output].dropped += 1
                self.events.not_sent(now, output, message, None)
                continue
            try:
                port.send(message, since if start == now else start)
            except PortError as fault:
                self._fail(now, output, message, fault)
                continue
            meter = meters[output]
            meter.messages += 1
            meter.octets += len(message)
            if recorder is not None:
                recorder.fresh.append((now, ~output, message))
                if len(message) > SHORT or len(recorder.fresh) >= recorder.piece:
                    recorder.pack(len(message))
            if sent is not None:
                sent(now, output, message)

    def _fail(self, now: int, output: int, message: bytes, fault: PortError) -> None:
        """A driver did not take this message."""
        self.events.not_sent(now, output, message, fault)
        if isinstance(fault, PortGone):
            self._lose_output(output, str(fault))
        else:
            self.events.tell(self.outputs[output], str(fault))
            if message[0] < SYSEX and output not in self._stuck:
                self._stuck.add(output)
                self.events.output_stuck(output)
        self.out_meters[output].drop(str(fault))

    def check_outputs(self) -> None:
        """Find outputs that were pulled while nothing was sent to them, and stuck ones that take messages again.

        Outputs that are no longer needed are closed once the drivers have passed on their last releases.
        """
        for output, port in self.open_outputs():
            try:
                port.check()
                if output in self._stuck:
                    port.send(SWEEP[0])
                    self._stuck.discard(output)
                    self.events.output_unstuck(output, port)
            except PortGone as fault:
                self._lose_output(output, str(fault))
            except PortError as fault:
                self.out_meters[output].last_error = str(fault)  # still stuck
        self._close_drained()

    @property
    def every_output_open(self) -> bool:
        """Whether no output is missing, those that an edit has removed included."""
        return None not in self._open

    def attach_output(self, output: int, port: OutputPort) -> None:
        """This output has been opened, for the first time or again."""
        self._open[output] = port
        self.out_meters[output].plugged(port.name)
        self.events.output_opened(output, port)

    def release_output(self, output: int, place: Hashable = None) -> None:
        """Close an output that is no longer needed, as soon as its last releases have passed through the driver.

        `place`: which port it is, for `take_back`.
        """
        if self._open[output] is not None and output not in self._leaving:
            self.events.output_leaving(output)
            now = self._clock()
            self._leaving[output] = _Leaving(now + _FAREWELL, now if self.events.drained(output) else None, place)

    def take_back(self, output: int, place: object) -> None:
        """This output is needed again, as this port: if it is still about to be closed, it stays open."""
        leaving, port = self._leaving.get(output), self._open[output]
        if leaving is not None and leaving.place == place and port is not None:
            del self._leaving[output]
            self.events.output_opened(output, port)

    def _close_drained(self) -> None:
        now = self._clock()
        for output, leaving in [*self._leaving.items()]:
            if leaving.may_close(now, self.events.drained(output)):
                self._take_out(output)
                self.out_meters[output].pulled()
                self.events.output_closed(output)

    def _lose_output(self, output: int, reason: str) -> None:
        self._take_out(output)
        self.out_meters[output].pulled(reason)
        self.events.output_gone(output)
        self.events.tell(self.outputs[output], reason)

    def _take_out(self, output: int) -> None:
        port, self._open[output] = self._open[output], None
        self._stuck.discard(output)
        self._leaving.pop(output, None)
        if port is not None:
            port.close()

    def close(self) -> None:
        """Close every output. The inputs are closed by the reader."""
        for output, port in self.open_outputs():
            port.close()
            self._open[output] = None
        self._leaving.clear()


def speed_of(flow: DriverFlow | None) -> CableSpeed | None:
    """How the core should pace an output whose driver can take this much."""
    if flow is None:
        return None
    byte_ns = 1_000_000_000 // flow.per_second
    return CableSpeed(byte_ns, flow.ahead * byte_ns, flow.overhead)
