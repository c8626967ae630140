"""The running show: takes what the reader has read, lets the engine route it, and hands the answers to the ports.

Loop only. Everything that changes what is heard happens in `pump` and `apply`, which never await, so messages keep
their order and a scene change is one step.
"""

import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import remote_outputs
from engine.core.cable.speed import CableSpeed
from engine.core.command_result import CommandResult
from engine.core.commands import (
    RECALLS,
    AdoptRig,
    Command,
    Finish,
    MessagesWait,
    PlayerCommand,
    SendMessages,
    WakeUp,
)
from engine.core.compiled import CompiledRig, compile_rig
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.core.show_standing import standing
from engine.fault_log import faults
from engine.live.meters import Latency
from engine.live.missing_outputs import as_sent
from engine.live.notice_limiter import NoticeLimiter
from engine.live.port_bank import ArrivalSource, PortBank, speed_of
from engine.live.port_commands import PortCommands
from engine.live.port_opening import OpenPorts
from engine.live.process.priority import ORDINARY
from engine.live.recorder import SHORT, FlightRecorder
from engine.midi.message_words import to_hex
from engine.rig.models.rig import Rig

#: events a watcher may be behind before the oldest are dropped
_WATCHED: Final = 4096
#: how long (ns) messages wait when the core is first told of it
_LATE: Final = 5_000_000
#: ns between two looks at that
_LOOKS: Final = 10_000_000


class ShowEvent(NamedTuple):
    """Something that passed or was reported: time (ns), "in", "out" or "told", port name, message or None, text."""

    at: int
    way: str
    port: str
    message: bytes | None
    text: str


class Show:
    """A rig that plays. `on_move` is called with each new position, by player; `say` with each sentence for people."""

    def __init__(
        self,
        rig: Rig,
        opened: OpenPorts,
        reader: ArrivalSource,
        on_move: Callable[[Mapping[str, ShowPosition]], None] = lambda positions: None,
        clock: Callable[[], int] = time.monotonic_ns,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:
        """`opened`: the ports of the rig that are open, whose inputs `reader` polls; `clock` is monotonic (ns)."""
        speeds = {name: speed_of(port.flow) for name, port in opened.outputs.items()}
        self.engine = Engine(compile_rig(rig, remote_outputs=remote_outputs(rig)), speeds)
        self.recorder = FlightRecorder()
        self.reader = reader
        self.clock = clock
        self.port_commands = PortCommands(self)
        self.ports = PortBank(self.port_commands, reader, clock, self.recorder)
        self.latency = Latency()
        self.own_faults = 0
        self.started_at = clock()
        #: grows with each rig that is adopted, and from one engine to the next, so that a page can tell them apart
        self.revision = time.time_ns() // 1_000_000
        self.scheduling = ORDINARY
        self.driver = opened.driver
        self.refused: str | None = None  # why the rig file as it is now on the disk does not play
        self._say = say
        self._on_move = on_move
        self._kept_positions: dict[str, ShowPosition] = {}
        self._watchers: list[deque[ShowEvent]] = []  # of messages
        self._listeners: list[deque[ShowEvent]] = []  # of reports
        self._notices = NoticeLimiter(self._told)
        self._told_faults: dict[str, int] = {}
        self._looked_for_waits = -_LOOKS  # ns
        self._begin_ports(opened, speeds)

    def _begin_ports(self, opened: OpenPorts, speeds: Mapping[str, CableSpeed | None]) -> None:
        engine, paces = self.engine, {name: _pace(speed) for name, speed in speeds.items()}
        remote = sorted(engine.state.compiled.remote_outputs)
        self.recorder.did(self.clock(), "start", paces, sorted(opened.outputs), remote)
        self.ports.extend(engine.inputs, engine.outputs)
        self.ports.start(opened)
        for output, port in self.ports.open_outputs():
            self.port_commands.join(output, port)

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of inputs by index, including those that an edit has removed from the rig."""
        return self.engine.inputs

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of outputs by index, including those that an edit has removed from the rig."""
        return self.engine.outputs

    # What the loop does

    def pump(self) -> None:
        """Route all that has arrived and send all that is due; called whenever the reader wakes the loop.

        Never raises: a fault of our own costs the message it struck, not the show.
        """
        lost = self._losses()  # before the messages, so that all that came before the cable was pulled is among them
        for at, source, message in self.reader.take():
            try:
                self._take_message(at, source, message)
            except Exception as fault:
                self.own_fault(f"routing {to_hex(message)} from {self.inputs[source]}", fault)
        try:
            self._look_after(lost)
        except Exception as fault:
            self.own_fault("sending what is due", fault)

    def _take_message(self, at: int, source: int, message: bytes) -> None:
        engine, now = self.engine, self.clock()
        meter = self.ports.in_meters[source]
        meter.messages += 1
        meter.octets += len(message)
        recorder = self.recorder
        recorder.fresh.append((now, source, message))
        if len(message) > SHORT or len(recorder.fresh) >= recorder.piece:
            recorder.pack(len(message))
        if self._watchers:
            self._show(ShowEvent(at, "in", self.inputs[source], message, ""))
        deliveries = engine.receive(now, source, message)
        if deliveries:
            self._send(now, deliveries, at)
            self.latency.add(self.clock() - at)
        if engine.reports.outcomes:
            self._take_outcomes()

    def _look_after(self, lost: Sequence[tuple[int, str]]) -> None:
        """Send what is due, deal with lost inputs, and report what happened."""
        engine = self.engine
        due = self._tick()
        if (due is not None or self.reader.oldest_wait) and self._tell_of_waits():
            due = engine.due
        if lost:
            self.ports.take_losses(lost)
            due = engine.due
        self._end_turn(due)
        if engine.reports.outcomes:
            self._take_outcomes()
        if engine.reports.news:
            self._take_news()
        if engine.state.faults.counts != self._told_faults:
            self._take_faults()
        if len(self.recorder.fresh) >= self.recorder.tidy_from:
            self.recorder.tidy()

    def _tick(self) -> int | None:
        """Send what is due; when the core next has something to do, for which it looks at every cable."""
        now, due = self.clock(), self.engine.due
        if due is None or due > now:
            return due
        self.recorder.ticked(now)
        self._send(now, self.engine.tick(now), due)
        return self.engine.due

    def _tell_of_waits(self) -> bool:
        """Tell the core, now and then, for how long messages wait, if that is long; whether it was told."""
        now = self.clock()
        if now - self._looked_for_waits < _LOOKS:
            return False
        self._looked_for_waits = now
        wait = self.reader.oldest_wait + self.engine.longest_wait
        if wait > _LATE:
            self.carry_out(MessagesWait(wait))
        return wait > _LATE

    def own_fault(self, doing: str, fault: Exception) -> str:
        """Count, log and report a fault of Bayleaf itself that struck `doing`; the sentence."""
        self.own_faults += 1
        text = faults.record(doing, fault)
        self.tell("engine", text)
        return text

    def apply(self, command: Command, who: str = "") -> CommandResult:
        """Carry out a command, send what it brings, and report what became of it; `who`: who asks, and with what."""
        outcome = self.carry_out(command, who)
        if isinstance(command, PlayerCommand):
            self.engine.reports.outcomes.append(outcome)
        if self.engine.reports.outcomes:
            self._take_outcomes()
        self.end_turn()
        return self._as_sent(outcome)

    def carry_out(self, command: Command, who: str = "") -> CommandResult:
        """The one place where commands are recorded and reach the engine."""
        now = self.clock()
        self.recorder.applied(now, command, who)
        result = self.engine.apply(now, command, who)
        self._send(now, result.deliveries)
        return result.outcome

    def send(self, messages: Iterable[tuple[int, bytes]]) -> None:
        """Send these to outputs (indices), in their order and at the pace of their cables."""
        self.apply(SendMessages(tuple((self.outputs[output], message) for output, message in messages)))

    def finish(self) -> bool:
        """Release every note and bring everything to rest; True if something still waits for its cable."""
        self.apply(Finish())
        self._tick()
        self.end_turn()
        return self.engine.waiting

    def end_turn(self) -> None:
        """Hand other machines what this turn of the loop has for them, and say when the core needs the next one."""
        self._end_turn(self.engine.due)

    def _end_turn(self, due: int | None) -> None:
        self.reader.beat, self.reader.due = self.engine.beat, due
        for output, port in self.port_commands.remote.items():
            try:
                port.flush(self.clock())
            except Exception as fault:  # it costs this output, not those after it
                self.own_fault(f"sending orders for {self.outputs[output]}", fault)

    def _send(self, now: int, deliveries: Sequence[Delivery], since: int | None = None) -> None:
        self.ports.send(now, deliveries, self._show_sent if self._watchers else None, since)

    def _show_sent(self, now: int, output: int, message: bytes) -> None:
        """A driver took a message while somebody watches what passes."""
        self._show(ShowEvent(now, "out", self.outputs[output], message, ""))

    def check_outputs(self) -> None:
        """See PortBank; and report how often the notices came that were held back."""
        self.ports.check_outputs()
        self._notices.flush(self.clock())

    def awake(self, slept: float) -> None:
        """The machine has slept this long (s)."""
        outcome = self.apply(WakeUp(), "wake-up")
        self.tell("engine", f"woke after {slept:.0f} s; everything was released, and {outcome.text}")

    def adopt(self, compiled: CompiledRig, text: str, scenes: ScenesInPlay | None = None) -> None:
        """Go on with an edited rig, compiled after the present one; `text` is the rig's file.

        `scenes`: its scenes if they have been made ready, so that the music need not wait for that.
        """
        self.pump()
        self.ports.extend(compiled.inputs, compiled.outputs)
        self.apply(AdoptRig(text, tuple(sorted(compiled.remote_outputs)), compiled, scenes))
        self.revision += 1
        self._told_faults = {}

    # Reports

    def watch(self, messages: bool = True, told: bool = True, most: int = _WATCHED) -> deque[ShowEvent]:
        """A queue of at most `most` events: messages that pass from now on, reports, or both.

        If it is not read, the oldest events are dropped.
        """
        events: deque[ShowEvent] = deque(maxlen=most)
        if messages:
            self._watchers.append(events)
        if told:
            self._listeners.append(events)
        return events

    def unwatch(self, events: deque[ShowEvent]) -> None:
        """End what `watch` began."""
        self._watchers = [other for other in self._watchers if other is not events]
        self._listeners = [other for other in self._listeners if other is not events]

    def tell(self, port: str, text: str) -> None:
        """One sentence for the player; the same one at most once a second."""
        self._notices.tell(self.clock(), port, text)

    def _told(self, now: int, port: str, text: str) -> None:
        self._announce(ShowEvent(now, "told", port, None, text))
        self.recorder.told(now, f"{port}: {text}")
        self._say(f"{port}: {text}")

    def _show(self, event: ShowEvent) -> None:
        for events in self._watchers:
            events.append(event)

    def _announce(self, event: ShowEvent) -> None:
        for events in self._listeners:
            events.append(event)

    def _take_outcomes(self) -> None:
        outcomes = self.engine.reports.outcomes
        for outcome in outcomes:
            if self._listeners:
                sentence = self._as_sent(outcome).sentence
                self._announce(ShowEvent(self.clock(), "told", outcome.source, None, sentence))
            if outcome.done and outcome.scene is not None and outcome.do in RECALLS:
                self.recorder.scene(self.clock(), *outcome.scene)
        outcomes.clear()
        self.keep_place()

    def _as_sent(self, outcome: CommandResult) -> CommandResult:
        return outcome if self.ports.every_output_open else as_sent(outcome, self.engine.state, self.ports)

    def keep_place(self) -> None:
        """Call `on_move` if the show has moved since the last call."""
        self.recorder.stood(self.clock(), standing(self.engine))
        positions = self.engine.positions
        if positions != self._kept_positions:
            self._kept_positions = positions
            self._on_move(positions)

    def _take_news(self) -> None:
        for port, text in self.engine.reports.news:
            self.tell(port, text)
        self.engine.reports.news.clear()

    def _losses(self) -> list[tuple[int, str]]:
        lost = self.reader.lost
        return [lost.popleft() for _ in range(len(lost))]

    def _take_faults(self) -> None:
        failed = self.engine.state.faults
        for name in failed.counts.keys() - self._told_faults.keys():
            raised = failed.raised.pop(name, None)
            if raised is not None:
                faults.record(f"the filter {name} answered", raised)
            details = faults.details if raised is not None else ""
            self.tell(f"filter {name}", f"failed and is bypassed: {failed.first[name]}{details}")
        self._told_faults = dict(failed.counts)


def _pace(speed: CableSpeed | None) -> list[int] | None:
    """A driver's pace, fit for JSON; None if it has none."""
    return None if speed is None else [speed.byte_ns, speed.ahead_ns, speed.overhead]
