"""A rig in virtual time: the bay of the show, driven by a song as the show drives it, as fast as it goes."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from engine.core.cable.scheduler import Delivery
from engine.core.command_result import Outcome
from engine.core.engine import Bay
from engine.core.routing.compiled_scene import Answer
from engine.core.routing.loops import Loops
from engine.midi.kinds import is_release
from engine.offline.heard_notes import sounding
from engine.offline.song import Song, by_input
from engine.offline.song_time import Meter
from engine.offline.timed_cable import Ready, Sent, watch_wires
from engine.rig.models.rig import Rig

#: the bay's clock at the start of the song (ns): that of a machine which was not just switched on
_EPOCH: Final = 3600 * 1_000_000_000
_TAIL: Final = 600 * 1_000_000_000  # ns that what waits at the end of the song may take
RECALLS: Final = frozenset(("scene", "next", "back", "first", "entry"))
_TOLD_EVERY: Final = 4096  # messages between two reports of the progress


@dataclass
class Change:
    """A scene change: when (ns from the start), and what became of it."""

    at: int
    outcome: Outcome


@dataclass
class Performance:
    """All that happened. Times in ns from the start of the song; inputs and outputs by name in the rig's order.

    `replaced`, `shed`: by output, values that gave way to newer ones, and messages that found no room.
    `held`: (output, channel, key) that the song itself held at its end; `moved`: how many pedals, wheels and the like.
    `passed_over`: sentences about what was not played; `remarks`: about the whole of it.
    `refused`: what was asked for and cannot be had, such as a scene that the rig does not have.
    `hanging`: (output, channel, key) that sounded when all was released; there must be none.
    """

    rig: Rig
    meter: Meter
    ends: int
    heard: dict[str, int] = field(default_factory=dict)
    sent: dict[str, list[Sent]] = field(default_factory=dict)
    ready: dict[str, list[Ready]] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    told: list[tuple[int, str]] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    refused: list[tuple[int, str]] = field(default_factory=list)
    replaced: dict[str, int] = field(default_factory=dict)
    shed: dict[str, int] = field(default_factory=dict)
    held: list[tuple[str, int, int]] = field(default_factory=list)
    moved: int = 0
    hanging: list[tuple[str, int, int]] = field(default_factory=list)


class NoCables(Loops):
    """Nothing that goes out comes in again here, so that nobody need be asked."""

    def pass_by(self, now: int, source: int, message: bytes, answer: Answer) -> Answer:
        return answer


class Rehearsal:
    """One song through one rig. `progress` is told now and then which part of the song is played, 0 to 1."""

    def __init__(self, rig: Rig, progress: Callable[[float], None] = lambda part: None) -> None:
        self.bay = Bay(rig)
        self.bay.loops = NoCables()
        self._wires = watch_wires(self.bay)
        self._progress = progress
        self._now = _EPOCH
        self._done = Performance(rig, Meter(), 0)

    def play(self, song: Song, scene: int | str | None = None) -> Performance:
        """From this scene on; by default from the rig's `start`, or its first. KeyError if there is no such scene."""
        bay, done = self.bay, self._done
        done.meter, done.heard = song.meter, dict(by_input(song, bay.inputs))
        done.passed_over += song.told
        outcome, deliveries = bay.command(self._now, "scene", self._start(scene), "start")
        bay.outcomes.append(outcome)
        self._take([*deliveries, *bay.begin(self._now)])
        for number, (at, source, message) in enumerate(song.played):
            self._pass_time(_EPOCH + at)
            self._take(bay.receive(self._now, source, message))
            if number % _TOLD_EVERY == 0:
                self._progress(number / len(song.played))
        self._pass_time(_EPOCH + song.ends)
        self._run_dry()
        self._finish()
        return done

    def _start(self, scene: int | str | None) -> int | str:
        rig = self.bay.rig
        if scene is None:
            scene = rig.rig.start if rig.rig.start != "last" else rig.scenes[0].number
        if self.bay.find(scene) is None:
            raise KeyError(scene)
        return scene

    def _pass_time(self, until: int) -> None:
        bay = self.bay
        while (due := bay.due) is not None and due <= until:
            self._now = max(self._now, due)
            self._take(bay.tick(self._now))
        self._now = max(self._now, until)

    def _run_dry(self) -> None:
        """The song is over; what waits still goes out."""
        last = self._now + _TAIL
        while self.bay.waiting and (due := self.bay.due) is not None and due <= last:
            self._pass_time(due)

    def _take(self, deliveries: list[Delivery]) -> None:
        bay, now = self.bay, self._now
        for output, message, start in deliveries:
            self._wires[output].take(now, message, start)
        if bay.outcomes:
            self._take_outcomes()
        if bay.news:
            news, bay.news = bay.news, []
            self._done.told += [(now - _EPOCH, f"{port}: {text}") for port, text in news]
        if bay.asked:
            asked, bay.asked = bay.asked, []
            for source, request in asked:
                text = f"{bay.inputs[source]}: {request.do} was asked for by SysEx; a rehearsal leaves that out"
                self._done.told.append((now - _EPOCH, text))

    def _take_outcomes(self) -> None:
        outcomes, self.bay.outcomes = self.bay.outcomes, []
        for outcome in outcomes:
            at = self._now - _EPOCH
            if outcome.done and outcome.do in RECALLS:
                self._done.changes.append(Change(at, outcome))
            elif not outcome.done and outcome.do == "scene":
                self._done.refused.append((at, f"{outcome.source}: {outcome.text}"))
            else:
                self._done.told.append((at, f"{outcome.source}: {outcome.text}"))

    def _finish(self) -> None:
        """As at the end of a show all is released; of that, the releases are kept, so that nothing goes on sounding."""
        bay, done = self.bay, self._done
        for source, text in bay.faults.first.items():
            done.told.append((self._now - _EPOCH, f"filter {source} failed and was stepped over: {text}"))
        before = [len(wire.sent) for wire in self._wires]
        done.held = [(output, channel, key) for output, listed in self._heard() for channel, key in listed]
        done.ends = self._now - _EPOCH
        done.moved = bay.ledger.off_rest()
        self._take(bay.release_all(self._now))
        self._run_dry()
        for wire, count in zip(self._wires, before, strict=True):
            wire.sent[count:] = [each._replace(ours=True) for each in wire.sent[count:] if is_release(each.message)]
        done.hanging = [(output, channel, key) for output, listed in self._heard() for channel, key in listed]
        for name, wire in zip(bay.outputs, self._wires, strict=True):
            done.sent[name] = sorted((_from_start(each) for each in wire.sent), key=lambda each: each.start)
            done.ready[name] = [Ready(asked - _EPOCH, channel, at - _EPOCH) for asked, channel, at in wire.ready]
            done.replaced[name], done.shed[name] = wire.waiting.replaced, wire.waiting.shed

    def _heard(self) -> list[tuple[str, list[tuple[int, int]]]]:
        return [
            (name, sounding(each.message for each in wire.sent))
            for name, wire in zip(self.bay.outputs, self._wires, strict=True)
        ]


def _from_start(sent: Sent) -> Sent:
    return Sent(sent.handed - _EPOCH, sent.start - _EPOCH, sent.asked - _EPOCH, sent.message, sent.ours)
