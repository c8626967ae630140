"""The running show: drains the inbox, lets the core route, hands to the drivers. Loop only, no awaits inside.

Everything that changes what is heard happens in `pump` and `command`, called by one task of the trio loop, so that
arrival order survives and a scene change is one step.
"""

import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

from engine.cluster.pure.replica import Word, follow_show, follow_time
from engine.core.adoption import take_over
from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.routing.ledger import Target
from engine.fault_log import faults
from engine.live.meters import Latency, PortMeter
from engine.live.notice_limiter import NoticeLimiter
from engine.live.port_bank import ArrivalSource, PortBank
from engine.live.port_opening import OpenPorts
from engine.live.process.priority import ORDINARY
from engine.midi.kinds import SYSEX
from engine.midi.message_words import to_hex
from engine.ports.port import PortError, PortGone
from engine.rig.models.rig import Rig

#: events a watcher may be behind before the oldest are dropped
_WATCHED: Final = 4096
_RECALLS: Final = frozenset(("scene", "next", "back", "first", "entry"))
_TEST_NOTE: Final = 500_000_000  # ns


class ShowEvent(NamedTuple):
    """Something that passed or was told: time (ns), "in", "out" or "told", port name, message or None, text."""

    at: int
    way: str
    port: str
    message: bytes | None
    text: str


class Show(PortBank):
    """A rig that plays. `on_move` is told where the show is now, `say` each sentence for the player."""

    def __init__(
        self,
        rig: Rig,
        patch: OpenPorts,
        reader: ArrivalSource,
        on_move: Callable[[ShowPosition], None] = lambda standing: None,
        clock: Callable[[], int] = time.monotonic_ns,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:
        super().__init__(rig, patch, reader, clock)
        self.latency = Latency()
        self.own_faults = 0
        self.started_at = clock()
        #: of the rig: grows with every one that is adopted. A page that outlives an engine knows the next one's from it
        self.revision = time.time_ns() // 1_000_000
        self.scheduling = ORDINARY
        self.refused: str | None = None  # why the rig file as it is now on the disk does not play
        self._say = say
        self._on_move = on_move
        self._stood: ShowPosition | None = None
        self._watchers: list[deque[ShowEvent]] = []  # of what passes
        self._listeners: list[deque[ShowEvent]] = []  # of what is told
        self._notices = NoticeLimiter(self._told)
        self._told_faults: dict[str, int] = {}

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
                self.own_fault(f"routing {to_hex(message)} from {self.inputs[source]}", fault)
        try:
            self._look_after(lost)
        except Exception as fault:
            self.own_fault("sending what is due", fault)

    def _take_message(self, at: int, source: int, message: bytes) -> None:
        engine, now = self.engine, self.clock()
        self.in_meters[source].count(message)
        self.recorder.came_in(now, source, message)
        if self._watchers:
            self._show(ShowEvent(at, "in", self.inputs[source], message, ""))
        deliveries = engine.receive(now, source, message)
        if deliveries:
            self._send(now, deliveries)
            self.latency.add(self.clock() - at)
        if engine.outcomes:
            self._take_outcomes()

    def _look_after(self, lost: Sequence[tuple[int, str]]) -> None:
        """What is due, what was lost, what is to be told."""
        engine = self.engine
        self._tick()
        if lost:
            self._take_losses(lost)
        self._end_turn()
        if engine.outcomes:
            self._take_outcomes()
        if engine.news:
            self._take_news()
        if engine.faults.counts != self._told_faults:
            self._take_faults()

    def _tick(self) -> None:
        now, due = self.clock(), self.engine.due
        if due is not None and due <= now:
            self.recorder.ticked(now)
            self._send(now, self.engine.tick(now))

    def own_fault(self, doing: str, fault: Exception) -> str:
        """Count, log and report a fault of Bayleaf itself that struck `doing`; the sentence."""
        self.own_faults += 1
        text = faults.record(doing, fault)
        self.tell("engine", text)
        return text

    def command(self, do: str, scene: int | str | None = None, source: str = "shell") -> CommandResult:
        """A command from outside, carried out at once."""
        now = self.clock()
        self.recorder.did(now, "command", do, scene, source)
        outcome, deliveries = self.engine.command(now, do, scene, source)
        return self._done(now, outcome, deliveries)

    def resume(self, standing: ShowPosition) -> None:
        """Take up the set list and the place in it where another engine stood; its scene is yet to be recalled."""
        self.recorder.did(self.clock(), "resume", list(standing))
        self.engine.resume(standing)

    def begin(self) -> None:
        """What is to run from the start runs: the rig's clock, its time code."""
        now = self.clock()
        self.recorder.did(now, "begin")
        self._send(now, self.engine.begin(now))
        self._end_turn()

    def sync(self, part: str, what: str, value: float | str | None = None) -> CommandResult:
        """A command to the rig's own clock or time code."""
        now = self.clock()
        self.recorder.did(now, "sync", part, what, value)
        outcome, deliveries = self.engine.command_sync(now, part, what, value)
        return self._done(now, outcome, deliveries)

    def mute(self, route: str, on: bool, source: str) -> CommandResult:
        """Mute or unmute a named route."""
        now, deliveries = self.clock(), list[Delivery]()
        self.recorder.did(now, "mute", route, on, source)
        outcome = self.engine.mute(now, route, on, source, deliveries)
        return self._done(now, outcome, deliveries)

    def led_by(self, machine: str | None) -> None:
        """This machine is in charge, and we follow; None: we are in charge."""
        self.recorder.did(self.clock(), "led by", machine)
        self.engine.led_by = machine

    def follow(self, word: Word) -> None:
        """Be where the one in charge says that the show is. Raises ValueError if it makes no sense for this rig."""
        self.pump()
        now = self.clock()
        self.recorder.did(now, "follow", word)
        self._send(now, follow_show(self.engine, now, word))
        self.keep_place()
        self._end_turn()

    def follow_time(self, word: Word, age: int) -> None:
        """Clock and time code go as the one in charge said this long ago (ns). Raises ValueError likewise."""
        now = self.clock()
        self.recorder.did(now, "follow time", age, word)
        follow_time(self.engine, now, age, word)
        self._end_turn()

    def _done(self, now: int, outcome: CommandResult, deliveries: Sequence[Delivery]) -> CommandResult:
        self._send(now, deliveries)
        self.engine.outcomes.append(outcome)
        self._take_outcomes()
        self._end_turn()
        return outcome

    def send(self, messages: Iterable[tuple[int, bytes]]) -> None:
        """These go to outputs (indices) by themselves, in the order and at the pace of their wires."""
        now, listed = self.clock(), [*messages]
        self.recorder.did(now, "send", [[self.outputs[output], message.hex()] for output, message in listed])
        self._send(now, self.engine.send(now, listed))
        self._end_turn()

    def sound(self, output: int, channel: int, key: int) -> None:
        """A test note on an output (index) and channel (0 to 15)."""
        now = self.clock()
        self.recorder.did(now, "sound", self.outputs[output], channel, key, _TEST_NOTE)
        self._send(now, self.engine.sound(now, Target(output, channel, key), _TEST_NOTE))
        self._end_turn()

    def keep_back(self, source: int, on: bool) -> None:
        """The SysEx of this input (index) takes no routes, or takes them again."""
        self.recorder.did(self.clock(), "keep back", self.inputs[source], on)
        (self.engine.kept_back.add if on else self.engine.kept_back.discard)(source)

    def finish(self) -> bool:
        """Release every note and bring everything to rest; True if something still waits for its wire."""
        now = self.clock()
        self.recorder.did(now, "finish")
        self._send(now, self.engine.finish(now))
        self._tick()
        self._end_turn()
        return self.engine.waiting

    def _send(self, now: int, deliveries: Sequence[Delivery]) -> None:
        ports, meters, went_out = self._ports, self.out_meters, self.recorder.went_out
        for output, message, _ in deliveries:
            port = ports[output]
            if port is None:
                meters[output].dropped += 1
                self._missed.note(output, message)
                continue
            try:
                port.send(message)
            except PortError as fault:
                self._fail(now, output, message, fault)
                continue
            meters[output].count(message)
            went_out(now, output, message)
            if self._watchers:
                self._show(ShowEvent(now, "out", self.outputs[output], message, ""))

    def _fail(self, now: int, output: int, message: bytes, fault: PortError) -> None:
        """A driver did not take this."""
        gone = isinstance(fault, PortGone)
        self.recorder.did(now, "gone" if gone else "refused", self.outputs[output], message.hex())
        if gone:
            self._lose_output(output, str(fault))
        else:
            self.tell(self.outputs[output], str(fault))
            if message[0] < SYSEX:
                self._stuck.add(output)
        self.out_meters[output].drop(str(fault))
        self._missed.note(output, message)

    def check_outputs(self) -> None:
        """See PortBank; and tell how often happened what was kept back."""
        super().check_outputs()
        self._notices.flush(self.clock())

    def awake(self, slept: float) -> None:
        """The machine has slept for so many seconds."""
        now = self.clock()
        self.recorder.did(now, "awake")
        outcome, deliveries = self.engine.awake(now)
        self._send(now, deliveries)
        self._end_turn()
        self.tell("engine", f"woke after {slept:.0f} s; everything was released, and {outcome.text}")

    def succeed(self, engine: Engine, text: str) -> None:
        """Go on with the bay of an edited rig, made with the names of the present one; `text` is the rig's file."""
        self.pump()
        now = self.clock()
        self.recorder.did(now, "rig", text, sorted(engine.far))
        deliveries = take_over(now, engine, self.engine)
        self.engine = engine
        self.revision += 1
        self._told_faults = {}
        self.in_meters += [PortMeter() for _ in self.inputs[len(self.in_meters) :]]
        self.out_meters += [PortMeter() for _ in self.outputs[len(self.out_meters) :]]
        self._ports += [None] * (len(self.outputs) - len(self._ports))
        self._send(now, deliveries)
        self._end_turn()

    # What is told

    def watch(self, messages: bool = True, told: bool = True, most: int = _WATCHED) -> deque[ShowEvent]:
        """A queue of so many events at most: the messages that pass from now on, what is told, or both.

        The oldest are dropped if nobody reads it.
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
        for outcome in self.engine.outcomes:
            self._announce(ShowEvent(self.clock(), "told", outcome.source, None, outcome.told))
            if outcome.done and outcome.scene is not None and outcome.do in _RECALLS:
                self.recorder.scene(self.clock(), *outcome.scene)
        self.engine.outcomes.clear()
        self.keep_place()

    def keep_place(self) -> None:
        """Have it written down where the show is, if it has moved since that was last done."""
        standing = self.engine.standing
        if standing is not None and standing != self._stood:
            self._stood = standing
            self._on_move(standing)

    def _take_news(self) -> None:
        news, self.engine.news = self.engine.news, []
        for port, text in news:
            self.tell(port, text)

    def _losses(self) -> list[tuple[int, str]]:
        lost = self.reader.lost
        return [lost.popleft() for _ in range(len(lost))]

    def _take_faults(self) -> None:
        failed = self.engine.faults
        for name in failed.counts.keys() - self._told_faults.keys():
            raised = failed.raised.pop(name, None)
            if raised is not None:
                faults.record(f"the filter {name} answered", raised)
            details = faults.details if raised is not None else ""
            self.tell(f"filter {name}", f"failed and is stepped over: {failed.first[name]}{details}")
        self._told_faults = dict(failed.counts)

    # What is asked

    def messages_heard(self) -> int:
        """How many messages came in so far."""
        return sum(meter.messages for meter in self.in_meters)
