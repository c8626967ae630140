"""A rig in virtual time: the engine of the show, driven by a song as the show drives it, as fast as possible."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from engine.core.cable.output_cable import Delivery
from engine.core.cable.speed import CableSpeed
from engine.core.command_result import CommandResult
from engine.core.commands import RECALLS, Begin, Finish, FirstScene, RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.midi.kinds import is_release
from engine.offline.heard_notes import sounding, unreleased
from engine.offline.song import Song, by_input
from engine.offline.song_time import SongTime
from engine.offline.timed_cable import InstrumentReady, SentByCable, TimedCable
from engine.rig.models.rig import Rig

#: the engine's clock at the start of the song (ns): that of a machine that has been running for a while
_EPOCH: Final = 3600 * 1_000_000_000
_TAIL: Final = 600 * 1_000_000_000  # ns that waiting messages may take after the end of the song
_PROGRESS_EVERY: Final = 4096  # messages between two reports of the progress


@dataclass
class SceneChange:
    """A scene change: time (ns from the start) and result."""

    at: int
    outcome: CommandResult


@dataclass
class Performance:
    """Everything that happened. Times in ns from the start of the song; inputs and outputs by name in the rig's order.

    `received`: number of messages from each input. `notices`: (time, sentence).
    `replaced`, `shed`: by output, values superseded by newer ones, and messages that did not fit on the cable.
    `held`: (output, channel, key) that the song itself held at its end; `moved`: number of pedals, wheels and the like.
    `passed_over`: sentences about what was not played; `remarks`: about the whole performance.
    `refused`: commands that could not be carried out, such as the recall of a scene that does not exist.
    `hanging`: (output, channel, key) still sounding when everything was released; must be empty.
    """

    rig: Rig
    meter: SongTime
    ends: int
    received: dict[str, int] = field(default_factory=dict)
    sent: dict[str, list[SentByCable]] = field(default_factory=dict)
    ready: dict[str, list[InstrumentReady]] = field(default_factory=dict)
    changes: list[SceneChange] = field(default_factory=list)
    notices: list[tuple[int, str]] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    refused: list[tuple[int, str]] = field(default_factory=list)
    replaced: dict[str, int] = field(default_factory=dict)
    shed: dict[str, int] = field(default_factory=dict)
    held: list[tuple[str, int, int]] = field(default_factory=list)
    moved: int = 0
    hanging: list[tuple[str, int, int]] = field(default_factory=list)


class Rehearsal:
    """One song through one rig. `progress` is called now and then with the part of the song that is played, 0 to 1."""

    def __init__(self, rig: Rig, progress: Callable[[float], None] = lambda part: None) -> None:
        self._cables: list[TimedCable] = []
        self.engine = Engine(compile_rig(rig), maker=self._make_cable, watch_loops=False)
        self._progress = progress
        self._now = _EPOCH
        self._done = Performance(rig, SongTime(), 0)

    def play(self, song: Song, scene: int | str | None = None) -> Performance:
        """Play from this scene on; by default from the rig's `start`, or its first. Raises KeyError.

        Whoever does not play this scene begins with the first of their set list.
        """
        engine, done = self.engine, self._done
        done.meter, done.received = song.meter, dict(by_input(song, engine.inputs))
        done.passed_over += song.passed_over
        start = engine.apply(self._now, RecallScene(self._start(scene)), "start")
        engine.reports.outcomes.append(start.outcome)
        self._take(start.deliveries)
        for player, stack in engine.state.stacks.items():
            if stack.scene is None:
                self._take(engine.apply(self._now, FirstScene(player=player), "start").deliveries)
        self._take(engine.apply(self._now, Begin()).deliveries)
        for number, (at, source, message) in enumerate(song.played):
            self._pass_time(_EPOCH + at)
            self._take(engine.receive(self._now, source, message))
            if number % _PROGRESS_EVERY == 0:
                self._progress(number / len(song.played))
        self._pass_time(_EPOCH + song.ends)
        self._run_dry()
        self._finish()
        return done

    def _make_cable(self, output: int, speed: CableSpeed | None, remote: bool) -> TimedCable:
        self._cables.append(TimedCable(output, speed, remote))
        return self._cables[-1]

    def _start(self, scene: int | str | None) -> int | str:
        compiled, rig = self.engine.state.compiled, self.engine.rig
        if scene is None and rig.rig.start != "last":
            scene = rig.rig.start
        elif scene is None:
            opening = compiled.opening()
            scene = opening if opening is not None else rig.scenes[0].number
        if compiled.find(scene) is None:
            raise KeyError(scene)
        return scene

    def _pass_time(self, until: int) -> None:
        engine = self.engine
        while (due := engine.due) is not None and due <= until:
            self._now = max(self._now, due)
            self._take(engine.tick(self._now))
        self._now = max(self._now, until)

    def _run_dry(self) -> None:
        """After the end of the song, let waiting messages go out."""
        last = self._now + _TAIL
        while self.engine.waiting and (due := self.engine.due) is not None and due <= last:
            self._pass_time(due)

    def _take(self, deliveries: list[Delivery]) -> None:
        engine, now = self.engine, self._now
        for output, message, start in deliveries:
            self._cables[output].take(now, message, start)
        reports = engine.reports
        if reports.outcomes:
            self._take_outcomes()
        if reports.news:
            self._done.notices += [(now - _EPOCH, f"{port}: {text}") for port, text in reports.news]
            reports.news.clear()
        if reports.requests:
            for source, request in reports.requests:
                text = f"{engine.inputs[source]}: {request.do} was requested by SysEx; a rehearsal ignores that"
                self._done.notices.append((now - _EPOCH, text))
            reports.requests.clear()

    def _take_outcomes(self) -> None:
        outcomes = self.engine.reports.outcomes
        for outcome in outcomes:
            at = self._now - _EPOCH
            if outcome.done and outcome.do in RECALLS:
                self._done.changes.append(SceneChange(at, outcome))
            elif not outcome.done and outcome.do == "scene":
                self._done.refused.append((at, f"{outcome.source}: {outcome.text}"))
            else:
                self._done.notices.append((at, f"{outcome.source}: {outcome.text}"))
        outcomes.clear()

    def _finish(self) -> None:
        """Release everything as at the end of a show; of what that sends, only the releases are kept."""
        engine, done = self.engine, self._done
        for source, text in engine.state.faults.first.items():
            done.notices.append((self._now - _EPOCH, f"filter {source} failed and was bypassed: {text}"))
        before = [len(cable.sent) for cable in self._cables]
        done.held = [(output, channel, key) for output, listed in self._heard(unreleased) for channel, key in listed]
        done.ends = self._now - _EPOCH
        done.moved = engine.state.ledger.off_rest()
        self._take(engine.apply(self._now, Finish()).deliveries)
        self._run_dry()
        for cable, count in zip(self._cables, before, strict=True):
            cable.sent[count:] = [each._replace(ours=True) for each in cable.sent[count:] if is_release(each.message)]
        done.hanging = [(output, channel, key) for output, listed in self._heard(sounding) for channel, key in listed]
        for name, cable in zip(engine.outputs, self._cables, strict=True):
            done.sent[name] = sorted((_from_start(each) for each in cable.sent), key=lambda each: each.start)
            done.ready[name] = [
                InstrumentReady(asked - _EPOCH, channel, at - _EPOCH) for asked, channel, at in cable.ready
            ]
            done.replaced[name], done.shed[name] = cable.counts.replaced, cable.counts.shed

    def _heard(self, by: Callable[[Iterable[bytes]], list[tuple[int, int]]]) -> list[tuple[str, list[tuple[int, int]]]]:
        return [
            (name, by(each.message for each in cable.sent))
            for name, cable in zip(self.engine.outputs, self._cables, strict=True)
        ]


def _from_start(sent: SentByCable) -> SentByCable:
    return SentByCable(sent.handed - _EPOCH, sent.start - _EPOCH, sent.asked - _EPOCH, sent.message, sent.ours)
