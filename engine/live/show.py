"""The running show: drains the inbox, lets the core route, hands to the drivers. Loop only, no awaits inside.

Everything that changes what is heard happens in `pump` and `command`, called by one task of the trio loop, so that
arrival order survives and a scene change is one step.
"""

import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Any, Final, NamedTuple, Protocol

from engine.core.bay import Bay, Outcome
from engine.core.wire import Delivery, Speed
from engine.live.inbox import Arrival
from engine.live.meters import Latency, PortMeter
from engine.live.patch import Patch
from engine.ports.port import Flow, OutputPort, PortError
from engine.rig.models import Rig

#: events a watcher may be behind before the oldest are dropped
_WATCHED: Final = 4096


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

    def repairs(self) -> dict[int, int]: ...


def speed_of(flow: Flow | None) -> Speed | None:
    """How the core is to pace an output whose driver can take this much."""
    if flow is None:
        return None
    byte_ns = 1_000_000_000 // flow.per_second
    return Speed(byte_ns, flow.ahead * byte_ns, flow.overhead)


class Show:
    """A rig that plays. `on_scene` is told each scene change (number)."""

    def __init__(
        self,
        rig: Rig,
        patch: Patch,
        reader: Reader,
        on_scene: Callable[[int], None] = lambda number: None,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.bay = Bay(rig, {name: speed_of(port.flow) for name, port in patch.outputs.items()})
        self.inputs = tuple(rig.inputs)
        self.outputs = tuple(rig.outputs)
        self.in_meters = [PortMeter(open=name in patch.inputs) for name in self.inputs]
        self.out_meters = [PortMeter(open=name in patch.outputs) for name in self.outputs]
        self.latency = Latency()
        self.own_faults = 0
        self.started_at = clock()
        self._clock = clock
        self._reader = reader
        self._on_scene = on_scene
        self._ports: list[OutputPort | None] = [patch.outputs.get(name) for name in self.outputs]
        self._watchers: list[deque[Event]] = []
        self._told_faults: dict[str, int] = {}
        for place, reason in patch.missing.items():
            what, name = place.split(".", 1)
            meters, names = (self.in_meters, self.inputs) if what == "inputs" else (self.out_meters, self.outputs)
            meters[names.index(name)].last_error = reason

    # What the loop does

    def pump(self) -> None:
        """Route all that has arrived and send all that is due; called whenever the reader pokes.

        Never raises: a fault of our own costs the message it struck, not the show.
        """
        lost = self._losses()  # before the messages: all that came before the cable was pulled is then among them
        for at, source, message in self._reader.take():
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
        if self._watchers:
            self._tell(Event(at, "in", self.inputs[source], message, ""))
        deliveries = bay.receive(self._clock(), source, message)
        if deliveries:
            self._send(deliveries)
            self.latency.add(self._clock() - at)
        if bay.outcomes:
            self._take_outcomes()

    def _look_after(self, lost: Sequence[tuple[int, str]]) -> None:
        """What is due, what was lost, what is to be told."""
        bay = self.bay
        self._send(bay.tick(self._clock()))
        self._take_losses(lost)
        self._reader.due = bay.due
        if bay.faults.counts != self._told_faults:
            self._take_faults()

    def own_fault(self, fault: Exception) -> str:
        """Count and tell a fault of Bayleaf itself; the sentence."""
        self.own_faults += 1
        text = f"a fault of Bayleaf itself: {fault!r}"
        self._tell(Event(self._clock(), "told", "engine", None, text))
        return text

    def command(self, do: str, scene: int | str | None = None, source: str = "shell") -> Outcome:
        """A command from outside, carried out at once."""
        outcome, deliveries = self.bay.command(self._clock(), do, scene, source)
        self._send(deliveries)
        self.bay.outcomes.append(outcome)
        self._take_outcomes()
        self._reader.due = self.bay.due
        return outcome

    def finish(self) -> bool:
        """Release every note and bring everything to rest; True if something still waits for its wire."""
        self._send(self.bay.release_all(self._clock()))
        self._send(self.bay.tick(self._clock()))
        return self.bay.waiting

    def close_outputs(self) -> None:
        """Let go of every output."""
        for port in self._ports:
            if port is not None:
                port.close()
        self._ports = [None] * len(self._ports)

    def _send(self, deliveries: Sequence[Delivery]) -> None:
        for output, message, _ in deliveries:
            port, meter = self._ports[output], self.out_meters[output]
            if port is None:
                meter.dropped += 1
                continue
            try:
                port.send(message)
            except PortError as fault:
                self._refused(output, str(fault))
                continue
            meter.count(message)
            if self._watchers:
                self._tell(Event(self._clock(), "out", self.outputs[output], message, ""))

    def _refused(self, output: int, reason: str) -> None:
        meter = self.out_meters[output]
        if meter.last_error != reason:
            self._tell(Event(self._clock(), "told", self.outputs[output], None, reason))
        meter.drop(reason)

    # What is told

    def watch(self) -> deque[Event]:
        """A queue that every event from now on goes into; the oldest are dropped if nobody reads it."""
        events: deque[Event] = deque(maxlen=_WATCHED)
        self._watchers.append(events)
        return events

    def unwatch(self, events: deque[Event]) -> None:
        """End what `watch` began."""
        self._watchers = [other for other in self._watchers if other is not events]

    def _tell(self, event: Event) -> None:
        for events in self._watchers:
            events.append(event)

    def _take_outcomes(self) -> None:
        for outcome in self.bay.outcomes:
            ready = f", ready in {outcome.ready_ns / 1e6:.0f} ms" if outcome.ready_ns else ""
            self._tell(Event(self._clock(), "told", outcome.source, None, outcome.text + ready))
            if outcome.done and outcome.scene is not None and outcome.do in ("scene", "next", "back"):
                self._on_scene(outcome.scene[0])
        self.bay.outcomes.clear()

    def _losses(self) -> list[tuple[int, str]]:
        lost = self._reader.lost
        return [lost.popleft() for _ in range(len(lost))]

    def _take_losses(self, lost: Sequence[tuple[int, str]]) -> None:
        for source, reason in lost:
            self.in_meters[source].open = False
            self.in_meters[source].last_error = reason
            self._tell(Event(self._clock(), "told", self.inputs[source], None, reason))
            self._send(self.bay.input_lost(self._clock(), source))

    def _take_faults(self) -> None:
        faults = self.bay.faults
        for name in faults.counts.keys() - self._told_faults.keys():
            text = f"filter {name} failed and is stepped over: {faults.first[name]}"
            self._tell(Event(self._clock(), "told", name, None, text))
        self._told_faults = dict(faults.counts)

    # What is asked

    def messages_heard(self) -> int:
        """How many messages came in so far."""
        return sum(meter.messages for meter in self.in_meters)

    def status(self) -> dict[str, Any]:
        """A picture of the show for `bayleaf status --json`."""
        bay = self.bay
        repairs = self._reader.repairs()
        scene = bay.scene
        return {
            "rig": bay.rig.rig.name,
            "scene": {"number": scene[0], "name": scene[1]} if scene else None,
            "setlist": {"name": bay.setlist.name, "place": bay.setlist.place + 1, "scenes": list(bay.setlist.numbers)},
            "sounding": bay.ledger.sounding(),
            "off_rest": bay.ledger.off_rest(),
            "inputs": [
                {"name": name, **_port_status(meter), "repairs": repairs.get(index, 0)}
                for index, (name, meter) in enumerate(zip(self.inputs, self.in_meters, strict=True))
            ],
            "outputs": [
                {"name": name, **_port_status(meter), "replaced": wire.waiting.replaced}
                for name, meter, wire in zip(self.outputs, self.out_meters, bay.wires, strict=True)
            ],
            "latency": self.latency.percentiles(),
            "own_faults": self.own_faults,
            "filter_faults": dict(bay.faults.counts),
            "running_s": round((self._clock() - self.started_at) / 1e9, 1),
        }


def _port_status(meter: PortMeter) -> dict[str, Any]:
    return {
        "state": "open" if meter.open else "missing",
        "messages": meter.messages,
        "bytes": meter.octets,
        "dropped": meter.dropped,
        "last_error": meter.last_error,
    }
