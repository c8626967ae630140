"""The running show: drains the inbox, lets the core route, hands to the drivers. Loop only, no awaits inside.

Everything that changes what is heard happens in `pump` and `command`, called by one task of the trio loop, so that
arrival order survives and a scene change is one step.
"""

import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple, Protocol

from engine.core.bay import Bay, Outcome
from engine.core.ledger import Target
from engine.core.setlist import Standing
from engine.core.silence import SWEEP
from engine.core.succession import take_over
from engine.core.wire import Delivery, Speed
from engine.live.backlog import Arrival
from engine.live.meters import Latency, PortMeter
from engine.live.missed import Missed
from engine.live.notices import Notices
from engine.live.patch import Patch
from engine.live.recorder import Recorder
from engine.midi.kinds import SYSEX
from engine.ports.port import Flow, InputPort, OutputPort, PortError, PortGone
from engine.rig.models import Rig

#: events a watcher may be behind before the oldest are dropped
_WATCHED: Final = 4096
_RECALLS: Final = frozenset(("scene", "next", "back", "first", "entry"))
_TEST_NOTE: Final = 500_000_000  # ns
_FAREWELL: Final = 2_000_000_000  # ns that the last releases for a port that is let go of may take


class Event(NamedTuple):
    """Something that passed or was told: time (ns), "in", "out" or "told", port name, message or None, text."""

    at: int
    way: str
    port: str
    message: bytes | None
    text: str


class Reader(Protocol):
    """What the show needs of an inbox."""

    due: int | None
    lost: deque[tuple[int, str]]

    def take(self) -> list[Arrival]: ...

    def add(self, source: int, port: InputPort) -> None: ...

    def remove(self, source: int) -> None: ...

    def waiting(self, source: int) -> bool: ...

    def repairs(self) -> dict[int, int]: ...

    def shed(self, source: int) -> int: ...


def speed_of(flow: Flow | None) -> Speed | None:
    """How the core is to pace an output whose driver can take this much."""
    if flow is None:
        return None
    byte_ns = 1_000_000_000 // flow.per_second
    return Speed(byte_ns, flow.ahead * byte_ns, flow.overhead)


class Show:
    """A rig that plays. `on_move` is told where the show is now, `say` each sentence for the player."""

    def __init__(
        self,
        rig: Rig,
        patch: Patch,
        reader: Reader,
        on_move: Callable[[Standing], None] = lambda standing: None,
        clock: Callable[[], int] = time.monotonic_ns,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:
        self.bay = Bay(rig, {name: speed_of(port.flow) for name, port in patch.outputs.items()})
        self.in_meters = [_meter(patch.inputs.get(name)) for name in rig.inputs]
        self.out_meters = [_meter(patch.outputs.get(name)) for name in rig.outputs]
        self.latency = Latency()
        self.recorder = Recorder()
        self.own_faults = 0
        self.started_at = clock()
        self.revision = 1  # grows with every rig that is adopted
        self.refused: str | None = None  # why the rig file as it is now on the disk does not play
        self.reader = reader
        self.clock = clock
        self._say = say
        self._on_move = on_move
        self._stood: Standing | None = None
        self._ports: list[OutputPort | None] = [patch.outputs.get(name) for name in rig.outputs]
        self._missed = Missed()
        self._stuck: set[int] = set()  # outputs that refused a message: what is there may hang
        self._leaving: list[tuple[int, OutputPort, int]] = []  # ports that an edit let go of, and until when (ns)
        self._watchers: list[deque[Event]] = []  # of what passes
        self._listeners: list[deque[Event]] = []  # of what is told
        self._notices = Notices(self._told)
        self._told_faults: dict[str, int] = {}
        for place, reason in patch.missing.items():
            what, name = place.split(".", 1)
            meters, names = (self.in_meters, self.inputs) if what == "inputs" else (self.out_meters, self.outputs)
            meters[names.index(name)].last_error = reason

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of inputs by index, those that an edit took out of the rig included."""
        return self.bay.inputs

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of outputs by index, those that an edit took out of the rig included."""
        return self.bay.outputs

    # What the loop does

    def pump(self) -> None:
        """Route all that has arrived and send all that is due; called whenever the reader pokes.

        Never raises: a fault of our own costs the message it struck, not the show.
        """
        lost = self._losses()  # before the messages: all that came before the cable was pulled is then among them
        for at, source, message in self.reader.take():
            try:
                self._take_message(at, source, message)
            except Exception as fault:
                self.own_fault(fault)
        try:
            self._look_after(lost)
        except Exception as fault:
            self.own_fault(fault)

    def _take_message(self, at: int, source: int, message: bytes) -> None:
        bay = self.bay
        self.in_meters[source].count(message)
        self.recorder.came_in(at, source, message)
        if self._watchers:
            self._show(Event(at, "in", self.inputs[source], message, ""))
        deliveries = bay.receive(self.clock(), source, message)
        if deliveries:
            self._send(deliveries)
            self.latency.add(self.clock() - at)
        if bay.outcomes:
            self._take_outcomes()

    def _look_after(self, lost: Sequence[tuple[int, str]]) -> None:
        """What is due, what was lost, what is to be told."""
        bay = self.bay
        self._send(bay.tick(self.clock()))
        self._take_losses(lost)
        self.reader.due = bay.due
        if bay.outcomes:
            self._take_outcomes()
        if bay.news:
            self._take_news()
        if bay.faults.counts != self._told_faults:
            self._take_faults()

    def own_fault(self, fault: Exception) -> str:
        """Count and tell a fault of Bayleaf itself; the sentence."""
        self.own_faults += 1
        text = f"a fault of Bayleaf itself: {fault!r}"
        self.tell("engine", text)
        return text

    def command(self, do: str, scene: int | str | None = None, source: str = "shell") -> Outcome:
        """A command from outside, carried out at once."""
        outcome, deliveries = self.bay.command(self.clock(), do, scene, source)
        self._send(deliveries)
        self.bay.outcomes.append(outcome)
        self._take_outcomes()
        self.reader.due = self.bay.due
        return outcome

    def begin(self) -> None:
        """What is to run from the start runs: the rig's clock, its time code."""
        self._send(self.bay.begin(self.clock()))
        self.reader.due = self.bay.due

    def sync(self, part: str, what: str, value: float | str | None = None) -> Outcome:
        """A command to the rig's own clock or time code."""
        outcome, deliveries = self.bay.command_sync(self.clock(), part, what, value)
        self._send(deliveries)
        self.bay.outcomes.append(outcome)
        self._take_outcomes()
        self.reader.due = self.bay.due
        return outcome

    def mute(self, route: str, on: bool, source: str) -> Outcome:
        """Mute or unmute a named route."""
        deliveries: list[Delivery] = []
        outcome = self.bay.mute(self.clock(), route, on, source, deliveries)
        self._send(deliveries)
        self.bay.outcomes.append(outcome)
        self._take_outcomes()
        self.reader.due = self.bay.due
        return outcome

    def send(self, messages: Iterable[tuple[int, bytes]]) -> None:
        """These go to outputs (indices) by themselves, in the order and at the pace of their wires."""
        self._send(self.bay.send(self.clock(), messages))
        self.reader.due = self.bay.due

    def sound(self, output: int, channel: int, key: int) -> None:
        """A test note on an output (index) and channel (0 to 15)."""
        self._send(self.bay.sound(self.clock(), Target(output, channel, key), _TEST_NOTE))
        self.reader.due = self.bay.due

    def finish(self) -> bool:
        """Release every note and bring everything to rest; True if something still waits for its wire."""
        self._send(self.bay.release_all(self.clock()))
        self._send(self.bay.tick(self.clock()))
        return self.bay.waiting

    def close_outputs(self) -> None:
        """Let go of every output."""
        for port in (*self._ports, *(port for _, port, _ in self._leaving)):
            if port is not None:
                port.close()
        self._ports = [None] * len(self._ports)
        self._leaving = []

    def _send(self, deliveries: Sequence[Delivery]) -> None:
        if not deliveries:
            return
        now = self.clock()
        for output, message, _ in deliveries:
            port, meter = self._ports[output], self.out_meters[output]
            if port is None:
                meter.dropped += 1
                self._missed.note(output, message)
                continue
            try:
                port.send(message)
            except PortGone as fault:
                self._lose_output(output, str(fault))
                meter.dropped += 1
                self._missed.note(output, message)
                continue
            except PortError as fault:
                meter.drop(str(fault))
                self._missed.note(output, message)
                self.tell(self.outputs[output], str(fault))
                if message[0] < SYSEX:
                    self._stuck.add(output)
                continue
            meter.count(message)
            self.recorder.went_out(now, output, message)
            if self._watchers:
                self._show(Event(now, "out", self.outputs[output], message, ""))

    # Ports that come and go

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
            if self.bay.wires[leaving[0]].due is None or self.clock() > leaving[2]:
                self._part_with(leaving)
        self._notices.flush(self.clock())

    def _mend(self, output: int, port: OutputPort) -> None:
        """It refused messages and takes them again: as if its cable had been out meanwhile."""
        self._stuck.discard(output)
        self._restore(output, port)
        self.tell(self.outputs[output], "takes messages again; the scene was sent to it")

    def attach_input(self, source: int, port: InputPort) -> None:
        """The cable of an input is there, or back."""
        self.in_meters[source].plugged(port.name)
        self.bay.sensing.forget(source)
        self.reader.add(source, port)
        self.tell(self.inputs[source], f'is open ("{port.name}")')

    def clear_up(self) -> None:
        """The last engine may have left anything hanging, held or moved: every output is silenced and set to rest."""
        for output, port in enumerate(self._ports):
            if port is not None:
                self._restore(output, port)

    def attach_output(self, output: int, port: OutputPort) -> None:
        """The cable of an output is there, or back: it is silenced, set to rest and put on the scene's sounds."""
        self._ports[output] = port
        self.out_meters[output].plugged(port.name)
        self._restore(output, port)
        self.tell(self.outputs[output], f'is open ("{port.name}"); the scene was sent to it')

    def _restore(self, output: int, port: OutputPort) -> None:
        self._send(self.bay.output_back(self.clock(), output, speed_of(port.flow), self._missed.owed(output)))
        self.reader.due = self.bay.due

    def missing(self) -> tuple[list[int], list[int]]:
        """Inputs and outputs of the rig that are not open."""
        rig = self.bay.rig
        leaving = {output for output, _, _ in self._leaving}
        return (
            [i for i, name in enumerate(self.inputs) if name in rig.inputs and not self.in_meters[i].open],
            [
                i
                for i, name in enumerate(self.outputs)
                if name in rig.outputs and self._ports[i] is None and i not in leaving
            ],
        )

    def stuck(self) -> list[int]:
        """Outputs that are open and take no messages."""
        return sorted(self._stuck)

    def awake(self, slept: float) -> None:
        """The machine has slept for so many seconds."""
        outcome, deliveries = self.bay.awake(self.clock())
        self._send(deliveries)
        self.reader.due = self.bay.due
        self.tell("engine", f"woke after {slept:.0f} s; everything was released, and {outcome.text}")

    def _lose_output(self, output: int, reason: str) -> None:
        port, self._ports[output] = self._ports[output], None
        if port is not None:
            port.close()
        self.out_meters[output].pulled(reason)
        self._stuck.discard(output)
        self.bay.loops.lift(output=output)
        self.tell(self.outputs[output], reason)

    def _take_losses(self, lost: Sequence[tuple[int, str]]) -> None:
        for source, reason in lost:
            if self.reader.waiting(source):  # what it had sent comes first, or its last notes would be held for ever
                self.reader.lost.append((source, reason))
                continue
            self.in_meters[source].pulled(reason)
            self.tell(self.inputs[source], reason)
            self._send(self.bay.input_lost(self.clock(), source))

    def succeed(self, bay: Bay) -> None:
        """Go on with the bay of an edited rig, which was made with the names of the present one."""
        self.pump()
        deliveries = take_over(self.clock(), bay, self.bay)
        self.bay = bay
        self.revision += 1
        self._told_faults = {}
        self.in_meters += [PortMeter() for _ in self.inputs[len(self.in_meters) :]]
        self.out_meters += [PortMeter() for _ in self.outputs[len(self.out_meters) :]]
        self._ports += [None] * (len(self.outputs) - len(self._ports))
        self._send(deliveries)
        self.reader.due = bay.due

    def let_go_of_input(self, source: int) -> None:
        """This port is no longer wanted; what it held is released."""
        if self.in_meters[source].open:
            self.in_meters[source].pulled()
            self._send(self.bay.input_lost(self.clock(), source))
            self.reader.remove(source)
            self.reader.due = self.bay.due

    def let_go_of_output(self, output: int) -> None:
        """This port is no longer wanted; what sounds there is released, and it is closed when that has left."""
        port = self._ports[output]
        if port is not None:
            self._send(self.bay.output_left(self.clock(), output))
            self.reader.due = self.bay.due
            self._leaving.append((output, port, self.clock() + _FAREWELL))

    def _part_with(self, leaving: tuple[int, OutputPort, int]) -> None:
        self._leaving.remove(leaving)
        output, port, _ = leaving
        if self._ports[output] is port:
            self._ports[output] = None
            self.out_meters[output].pulled()
            self._stuck.discard(output)
        port.close()

    # What is told

    def watch(self, messages: bool = True, told: bool = True, most: int = _WATCHED) -> deque[Event]:
        """A queue of so many events at most: the messages that pass from now on, what is told, or both.

        The oldest are dropped if nobody reads it.
        """
        events: deque[Event] = deque(maxlen=most)
        if messages:
            self._watchers.append(events)
        if told:
            self._listeners.append(events)
        return events

    def unwatch(self, events: deque[Event]) -> None:
        """End what `watch` began."""
        self._watchers = [other for other in self._watchers if other is not events]
        self._listeners = [other for other in self._listeners if other is not events]

    def tell(self, port: str, text: str) -> None:
        """One sentence for the player; the same one at most once a second."""
        self._notices.tell(self.clock(), port, text)

    def _told(self, now: int, port: str, text: str) -> None:
        self._announce(Event(now, "told", port, None, text))
        self.recorder.told(now, f"{port}: {text}")
        self._say(f"{port}: {text}")

    def _show(self, event: Event) -> None:
        for events in self._watchers:
            events.append(event)

    def _announce(self, event: Event) -> None:
        for events in self._listeners:
            events.append(event)

    def _take_outcomes(self) -> None:
        for outcome in self.bay.outcomes:
            self._announce(Event(self.clock(), "told", outcome.source, None, outcome.told))
            if outcome.done and outcome.scene is not None and outcome.do in _RECALLS:
                self.recorder.scene(self.clock(), *outcome.scene)
        self.bay.outcomes.clear()
        standing = self.bay.standing
        if standing is not None and standing != self._stood:
            self._stood = standing
            self._on_move(standing)

    def _take_news(self) -> None:
        news, self.bay.news = self.bay.news, []
        for port, text in news:
            self.tell(port, text)

    def _losses(self) -> list[tuple[int, str]]:
        lost = self.reader.lost
        return [lost.popleft() for _ in range(len(lost))]

    def _take_faults(self) -> None:
        faults = self.bay.faults
        for name in faults.counts.keys() - self._told_faults.keys():
            self.tell(f"filter {name}", f"failed and is stepped over: {faults.first[name]}")
        self._told_faults = dict(faults.counts)

    # What is asked

    def messages_heard(self) -> int:
        """How many messages came in so far."""
        return sum(meter.messages for meter in self.in_meters)


def _meter(port: InputPort | OutputPort | None) -> PortMeter:
    return PortMeter(port=port.name if port is not None else None)
