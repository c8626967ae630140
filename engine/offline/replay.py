"""A recorded evening once more: the bay is called as the show called it, at the times at which it did.

What the core answers depends on nothing but its calls and their times, so that the replay of a recording that reaches
back to the start of the engine gives byte for byte what went out. A filter of another package that asks something
outside itself is the exception, and what a driver refused is taken from the recording.
"""

import contextlib
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.cluster.pure.replica import Word, follow_show, follow_time
from engine.core.adoption import take_over
from engine.core.cable.output_cable import Delivery
from engine.core.cable.speed import CableSpeed
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.routing.ledger import Target
from engine.midi.message_words import describe
from engine.offline.flight_recording import FlightRecording, FlightRecordingError, Happened
from engine.offline.heard_notes import sounding
from engine.offline.rehearsal import RECALLS, Performance, SceneChange
from engine.offline.song_time import SongTime, clock
from engine.offline.timed_cable import InstrumentReady, SentByCable, TimedCable, watch_wires
from engine.rig.models.rig import Rig
from engine.rig.read.load import read

_TOLD_EVERY: Final = 4096


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
        self._plugged: set[int] = set()
        self._then: dict[str, deque[_Then]] = {}
        self._found = ReplayResult(Performance(rig, SongTime(1000, bars=False), 0))
        self._parted: set[str] = set()
        self._strangers: set[str] = set()  # inputs of the recording that the rig does not have
        self._heard: dict[str, int] = dict.fromkeys(rig.inputs, 0)
        self._start(Engine(rig))

    def _start(self, engine: Engine) -> None:
        self.engine = engine
        self._cables: list[TimedCable] = watch_wires(engine)
        self._plugged = set(range(len(engine.outputs)))

    def run(self, recording: FlightRecording) -> ReplayResult:
        """Play it all. Raises RecordingFault."""
        happened = recording.happened
        self._begins = self._now = recording.begins
        self._exact = recording.exact
        for each in happened:
            if each.way == "out":
                self._then.setdefault(each.port, deque()).append(_Then(each.at, each.message))
            elif each.did[:1] in (("refused",), ("gone",)) and len(each.did) == 3:
                what, port, message = each.did
                self._then.setdefault(port, deque()).append(_Then(each.at, bytes.fromhex(message), what))
        if not recording.whole and recording.scene is not None and recording.scene in self.engine.plans:
            self._resume_scene(recording.scene)
        for number, each in enumerate(happened):
            self._step(each, ticking=not recording.exact)
            if number % _TOLD_EVERY == 0:
                self._progress(number / len(happened))
        self._finish()
        return self._found

    def _resume_scene(self, number: int) -> None:
        """The recording begins within a scene: it is in force, and its burst went out before."""
        engine = self.engine
        engine.command(self._now - 10_000_000_000, "scene", number, "before the recording")
        while engine.waiting and engine.due is not None:
            engine.tick(engine.due)

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
            self._take(self._call(each))

    def _receive(self, at: int, source: int, message: bytes) -> None:
        """As in the show, a fault of our own costs the message that it struck."""
        try:
            deliveries = self.engine.receive(at, source, message)
        except Exception as fault:
            text = f"{describe(message)} from {self.engine.inputs[source]} strikes a fault of Bayleaf itself: {fault!r}"
            self._found.done.told.append((at - self._begins, text))
        else:
            self._take(deliveries)

    def _call(self, each: Happened) -> list[Delivery]:
        what, *details = each.did or ("",)
        if what in _ABOUT_INPUTS | _ABOUT_OUTPUTS:
            listed = self.engine.inputs if what in _ABOUT_INPUTS else self.engine.outputs
            if details[:1] and details[0] not in listed:
                return []  # this rig has no such port
            details[:1] = [listed.index(name) for name in details[:1]]
        call = _CALLS.get(what)
        if call is None:
            return []
        try:
            return call(self, *details)
        except (TypeError, ValueError, IndexError, KeyError, AttributeError) as fault:
            text = f'"{what}" at {clock(each.at - self._begins)} cannot be done again: {fault}'
            raise FlightRecordingError(text) from None

    def _take(self, deliveries: list[Delivery]) -> None:
        engine, begins = self.engine, self._begins
        for output, message, start in deliveries:
            self._cables[output].take(self._now, message, start)
            if output in self._plugged:
                self._compare(output, message)
        for outcome in engine.outcomes:
            if outcome.done and outcome.do in RECALLS:
                self._found.done.changes.append(SceneChange(self._now - begins, outcome))
            elif not outcome.done and outcome.do == "scene":
                self._found.done.refused.append((self._now - begins, f"{outcome.source}: {outcome.text}"))
        self._found.done.told += [(self._now - begins, f"{port}: {text}") for port, text in engine.news]
        engine.outcomes.clear()
        engine.news.clear()
        engine.asked.clear()

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

    # What the show did

    def _began(self, paces: dict[str, list[int] | None], outputs: list[str], far: Sequence[str] = ()) -> list[Delivery]:
        self._start(Engine(self._rig, {name: _speed(pace) for name, pace in paces.items()}, far=far))
        self._plugged = {self.engine.outputs.index(name) for name in outputs if name in self.engine.outputs}
        return []

    def _file(self, text: str) -> list[Delivery]:
        if text != self._text:
            self._edits = False
            self._found.done.remarks.append("the rig is not the one of the recording; its edits are left out")
        return []

    def _edited(self, text: str, far: Sequence[str] = ()) -> list[Delivery]:
        if not self._edits:
            return []
        old, rig = self.engine, read(text, str(self._folder / "the edit in the recording"))
        speeds = {name: cable.speed for name, cable in zip(old.outputs, old.cables, strict=True)}
        engine = Engine(rig, speeds, None, (old.inputs, old.outputs), far)
        fresh = watch_wires(engine)
        deliveries = take_over(self._now, engine, old)
        self._cables += fresh[len(self._cables) :]
        self.engine, self._found.done.rig = engine, rig
        return deliveries

    def _command(self, do: str, scene: int | str | None, source: str) -> list[Delivery]:
        outcome, deliveries = self.engine.command(self._now, do, scene, source)
        self.engine.outcomes.append(outcome)
        return deliveries

    def _mute(self, route: str, on: bool, source: str) -> list[Delivery]:
        out: list[Delivery] = []
        self.engine.mute(self._now, route, on, source, out)
        return out

    def _send(self, listed: list[list[Any]]) -> list[Delivery]:
        outputs = self.engine.outputs
        sent = [(outputs.index(name), bytes.fromhex(message)) for name, message in listed if name in outputs]
        return self.engine.send(self._now, sent)

    def _input_there(self, source: int) -> list[Delivery]:
        self.engine.sensing.forget(source)
        return []

    def _output_there(self, output: int, pace: list[int] | None, owed: list[str]) -> list[Delivery]:
        self._plugged.add(output)
        return self.engine.output_back(self._now, output, _speed(pace), [bytes.fromhex(each) for each in owed])

    def _output_lost(self, output: int) -> list[Delivery]:
        self._plugged.discard(output)
        self.engine.loops.lift(output=output)
        return []

    def _output_closed(self, output: int) -> list[Delivery]:
        self._plugged.discard(output)
        return []

    def _keep_back(self, name: str, on: bool) -> list[Delivery]:
        source = self.engine.inputs.index(name)
        (self.engine.kept_back.add if on else self.engine.kept_back.discard)(source)
        return []

    def _sound(self, output: str, channel: int, key: int, length: int) -> list[Delivery]:
        return self.engine.sound(self._now, Target(self.engine.outputs.index(output), channel, key), length)

    def _resumed(self, standing: list[Any]) -> list[Delivery]:
        self.engine.resume(ShowPosition(*standing))
        return []

    def _led_by(self, machine: str | None) -> list[Delivery]:
        self.engine.led_by = machine
        return []

    def _follow(self, word: Word) -> list[Delivery]:
        with contextlib.suppress(ValueError):  # it was told of then
            return follow_show(self.engine, self._now, word)
        return []

    def _follow_time(self, age: int, word: Word) -> list[Delivery]:
        with contextlib.suppress(ValueError):
            follow_time(self.engine, self._now, age, word)
        return []

    # The end

    def _finish(self) -> None:
        engine, done, begins = self.engine, self._found.done, self._begins
        for name, left in self._then.items():
            if left and name not in self._parted:
                self._found.odd.append(ReplayDifference(left[0].at, name, left[0].message, None))
        done.passed_over += [f"the rig has no input {name}; what it played is left out" for name in self._strangers]
        done.ends, done.heard = self._now - begins, self._heard
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
        done.moved = engine.ledger.off_rest()


def _speed(pace: list[int] | None) -> CableSpeed | None:
    return CableSpeed(pace[0], pace[1], pace[2]) if pace else None


_ABOUT_INPUTS: Final = {"input there", "input lost"}
_ABOUT_OUTPUTS: Final = {"output there", "output left", "output lost", "output closed"}
_CALLS: Final[dict[str, Callable[..., list[Delivery]]]] = {
    "start": Replay._began,
    "rig file": Replay._file,
    "rig": Replay._edited,
    "tick": lambda self: self.engine.tick(self._now),
    "command": Replay._command,
    "sync": lambda self, part, what, value: self.engine.command_sync(self._now, part, what, value)[1],
    "mute": Replay._mute,
    "begin": lambda self: self.engine.begin(self._now),
    "send": Replay._send,
    "sound": Replay._sound,
    "keep back": Replay._keep_back,
    "finish": lambda self: self.engine.finish(self._now),
    "awake": lambda self: self.engine.awake(self._now)[1],
    "resume": Replay._resumed,
    "led by": Replay._led_by,
    "follow": Replay._follow,
    "follow time": Replay._follow_time,
    "input there": Replay._input_there,
    "input lost": lambda self, source: self.engine.input_lost(self._now, source),
    "output there": Replay._output_there,
    "output left": lambda self, output: self.engine.output_left(self._now, output),
    "output lost": Replay._output_lost,
    "output closed": Replay._output_closed,
}
