"""A recorded evening once more: the engine is given what the show gave it, at the times at which it did.

What the core answers depends on nothing but its calls and their times, so that the replay of a recording that reaches
back to the start of the engine gives byte for byte what went out. A filter of another package that asks something
outside itself is the exception, and what a driver refused is taken from the recording.
"""

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, NamedTuple

from engine.core.cable.output_cable import Delivery
from engine.core.cable.speed import CableSpeed
from engine.core.commands import RECALLS, AdoptRig, Command, OutputLost, OutputThere, RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.core.rules import RULES
from engine.midi.message_words import describe
from engine.offline.earlier_show import take_up
from engine.offline.flight_recording import FlightRecording, FlightRecordingError, Happened
from engine.offline.heard_notes import sounding
from engine.offline.rehearsal import Performance, SceneChange
from engine.offline.song_time import SongTime, clock
from engine.offline.timed_cable import InstrumentReady, SentByCable, TimedCable
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read

_TOLD_EVERY: Final = 4096
_EARLIER: Final = 10_000_000_000  # ns by which what is in force when a recording begins is older


class _Then(NamedTuple):
    """What an output was sent; `failed`: "refused" by its driver, or "gone" with its port."""

    at: int
    message: bytes
    failed: str = ""


@dataclass(frozen=True)
class ReplayDifference:
    """Where the replay and the recording part: time (ns of the engine's clock), output, what went out then, and now."""

    at: int
    output: str
    then: bytes | None
    now: bytes | None


@dataclass
class ReplayResult:
    """`odd`: the first difference of each output, none if all is byte for byte the same; `same`: messages that are."""

    done: Performance
    odd: list[ReplayDifference] = field(default_factory=list)
    same: int = 0


class Replay:
    """One recording through one rig. `text`: what the rig was read from; `folder`: where, and its sound lists are."""

    def __init__(
        self, rig: Rig, text: str, progress: Callable[[float], None] = lambda part: None, folder: Path = Path()
    ) -> None:
        self._rig, self._text, self._progress, self._folder = rig, text, progress, folder
        self._edits = True  # those of the recording are of the rig that is played
        self._now = self._begins = 0
        self._exact = True
        self._rules = RULES
        self._plugged: set[int] = set()
        self._then: dict[str, deque[_Then]] = {}
        self._found = ReplayResult(Performance(rig, SongTime(1000, bars=False), 0))
        self._parted: set[str] = set()
        self._strangers: set[str] = set()  # inputs of the recording that the rig does not have
        self._heard: dict[str, int] = dict.fromkeys(rig.inputs, 0)
        self._cables: list[TimedCable] = []
        self.engine = self._made({}, ())

    def _made(self, speeds: Mapping[str, CableSpeed | None], remote: Iterable[str]) -> Engine:
        """The engine as it starts; all its outputs are open."""
        self._cables = []
        compiled = compile_rig(self._rig, remote_outputs=remote)
        engine = Engine(compiled, speeds, self._make_cable, rules=self._rules)
        self._plugged = set(range(len(engine.outputs)))
        return engine

    def _make_cable(self, output: int, speed: CableSpeed | None, remote: bool) -> TimedCable:
        made = TimedCable(output, speed, remote)
        if output == len(self._cables):  # else it takes the place of one, which has written down what came before
            self._cables.append(made)
        return made

    def run(self, recording: FlightRecording) -> ReplayResult:
        """Play it all. Raises FlightRecordingError."""
        happened = recording.happened
        self._begins = self._now = recording.begins
        self._exact = recording.exact
        if recording.rules is not self._rules:
            self._rules = recording.rules
            self.engine = self._made({}, ())
        for each in happened:
            if each.way == "out":
                self._then.setdefault(each.port, deque()).append(_Then(each.at, each.message))
            elif each.did[:1] in (("refused",), ("gone",)) and len(each.did) == 3:
                what, port, message = each.did
                self._then.setdefault(port, deque()).append(_Then(each.at, bytes.fromhex(message), what))
        if not recording.whole:
            self._resume(recording)
        for number, each in enumerate(happened):
            self._step(each, ticking=not recording.exact)
            if number % _TOLD_EVERY == 0:
                self._progress(number / len(happened))
        self._finish()
        return self._found

    def _resume(self, recording: FlightRecording) -> None:
        """The recording begins within a show: scenes are in force, pedals down, and what that sends went out before."""
        engine, begins = self.engine, self._now - _EARLIER
        if not recording.before and recording.scene is not None and recording.scene in engine.state.compiled.scenes:
            engine.apply(begins, RecallScene(recording.scene), "before the recording")
        for number, each in enumerate(recording.before):
            now = begins + number * (_EARLIER // 2) // len(recording.before)
            self._let_pass(now)
            take_up(engine, now, each)
        self._let_pass(self._now - _EARLIER // 4)
        engine.reports.outcomes.clear()

    def _let_pass(self, until: int) -> None:
        while (due := self.engine.due) is not None and due < until:
            self.engine.tick(due)

    def _step(self, each: Happened, ticking: bool) -> None:
        if ticking:  # an old recording does not say when; at the time it was due is near enough
            while (due := self.engine.due) is not None and due <= each.at:
                self._now = max(self._now, due)
                self._take(self.engine.tick(self._now))
        self._now = each.at
        if each.way == "in" and each.port not in self.engine.inputs:
            self._strangers.add(each.port)
        elif each.way == "in":
            self._heard[each.port] = self._heard.get(each.port, 0) + 1
            self._receive(each.at, self.engine.inputs.index(each.port), each.message)
        elif each.way == "did":
            self._take(self._repeat(each))

    def _receive(self, at: int, source: int, message: bytes) -> None:
        """As in the show, a fault of our own costs the message that it struck."""
        try:
            deliveries = self.engine.receive(at, source, message)
        except Exception as fault:
            words = describe(message, self._rig.rig.middle_c)
            text = f"{words} from {self.engine.inputs[source]} causes a fault of Bayleaf itself: {fault!r}"
            self._found.done.notices.append((at - self._begins, text))
        else:
            self._take(deliveries)

    def _repeat(self, each: Happened) -> list[Delivery]:
        """What the show did beside handing on messages."""
        if each.command is not None:
            return self._apply(each.command, each.who)
        what, *details = each.did
        try:
            match what:
                case "tick":
                    return self.engine.tick(self._now)
                case "start":
                    self._began(*details)
                case "rig file":
                    self._file(*details)
                case "closed" if details[0] in self.engine.outputs:
                    self._plugged.discard(self.engine.outputs.index(details[0]))
        except (TypeError, ValueError, IndexError, KeyError, AttributeError) as fault:
            raise self._not_again(what, fault) from None
        return []

    def _apply(self, command: Command, who: str) -> list[Delivery]:
        outputs = self.engine.outputs
        if isinstance(command, AdoptRig):
            if not self._edits:
                return []
            command = self._compiled(command)
        elif isinstance(command, OutputThere) and command.output in outputs:
            self._plugged.add(outputs.index(command.output))
        elif isinstance(command, OutputLost) and command.output in outputs:
            self._plugged.discard(outputs.index(command.output))
        result = self.engine.apply(self._now, command, who)
        self.engine.reports.outcomes.append(result.outcome)
        self._found.done.rig = self.engine.rig
        return result.deliveries

    def _compiled(self, edit: AdoptRig) -> AdoptRig:
        try:
            rig = read(edit.text, str(self._folder / "the edit in the recording"))
        except RigError as fault:
            raise self._not_again(edit.word, fault) from None
        return replace(edit, compiled=compile_rig(rig, after=self.engine.state.compiled, remote_outputs=edit.remote))

    def _not_again(self, what: str, fault: Exception) -> FlightRecordingError:
        return FlightRecordingError(f'"{what}" at {clock(self._now - self._begins)} cannot be repeated: {fault}')

    def _take(self, deliveries: list[Delivery]) -> None:
        engine, begins = self.engine, self._begins
        for output, message, start in deliveries:
            self._cables[output].take(self._now, message, start)
            if output in self._plugged:
                self._compare(output, message)
        reports = engine.reports
        for outcome in reports.outcomes:
            if outcome.done and outcome.do in RECALLS:
                self._found.done.changes.append(SceneChange(self._now - begins, outcome))
            elif not outcome.done and outcome.do == "scene":
                self._found.done.refused.append((self._now - begins, f"{outcome.source}: {outcome.text}"))
        self._found.done.notices += [(self._now - begins, f"{port}: {text}") for port, text in reports.news]
        reports.outcomes.clear()
        reports.news.clear()
        reports.requests.clear()

    def _compare(self, output: int, message: bytes) -> None:
        name = self.engine.outputs[output]
        then = self._then.get(name)
        went = then.popleft() if then else None
        if went is not None and went.message == message and (went.at == self._now or not self._exact):
            self._found.same += not went.failed
            if went.failed == "gone":  # its port was lost in the middle of an answer
                self._plugged.discard(output)
        elif name not in self._parted:
            self._parted.add(name)
            self._found.odd.append(ReplayDifference(self._now, name, went.message if went else None, message))

    def _began(self, paces: dict[str, list[int] | None], outputs: Sequence[str], remote: Sequence[str] = ()) -> None:
        self.engine = self._made({name: _speed(pace) for name, pace in paces.items()}, remote)
        self._plugged = {self.engine.outputs.index(name) for name in outputs if name in self.engine.outputs}

    def _file(self, text: str) -> None:
        if text != self._text:
            self._edits = False
            self._found.done.remarks.append("this is not the rig of the recording, so the edits in it are left out")

    # The end

    def _finish(self) -> None:
        engine, done, begins = self.engine, self._found.done, self._begins
        for name, left in self._then.items():
            if left and name not in self._parted:
                self._found.odd.append(ReplayDifference(left[0].at, name, left[0].message, None))
        done.passed_over += [f"the rig has no input {name}; what it played is left out" for name in self._strangers]
        done.ends, done.received = self._now - begins, self._heard
        done.meter = SongTime(1000, bars=False)
        for name, cable in zip(engine.outputs, self._cables, strict=True):
            sent = sorted(
                (
                    SentByCable(e.handed - begins, e.start - begins, e.asked - begins, e.message, e.ours)
                    for e in cable.sent
                ),
                key=lambda each: each.start,
            )
            done.sent[name] = sent
            done.ready[name] = [
                InstrumentReady(asked - begins, channel, at - begins) for asked, channel, at in cable.ready
            ]
            done.replaced[name], done.shed[name] = cable.counts.replaced, cable.counts.shed
            done.held += [(name, *place) for place in sounding(each.message for each in sent)]
        done.moved = engine.state.ledger.off_rest()


def _speed(pace: list[int] | None) -> CableSpeed | None:
    return CableSpeed(pace[0], pace[1], pace[2]) if pace else None
