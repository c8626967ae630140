"""Scenes that are recalled by time code: once each time it runs past their place, never by a jump backwards."""

from collections.abc import Sequence

from engine.core.timecode import Step
from engine.midi.timecode import Label, read_label
from engine.rig.models import Scene


class Cues:
    """`chase`: a jump recalls the scene that would be in force there. Loop only."""

    def __init__(self, scenes: Sequence[Scene], chase: bool) -> None:
        self.recalls: list[int] = []  # scene numbers, taken away by the caller
        self._cues = [(scene.at, scene.number) for scene in scenes if scene.at is not None]
        self._chase = chase
        self._past: set[int] = (
            set()
        )  # scenes whose place was passed; a correction by a frame does not recall them again

    def pass_by(self, step: Step) -> None:
        """The time code has moved."""
        if not self._cues or step.label is None:
            return
        if not step.ran:
            self._past.clear()
            if self._chase:
                self._go_to(step.label)
            return
        for text, number in self._cues:
            place = read_label(text, step.label.rate)
            passed = _passed(step, place)
            if passed > 0 and number not in self._past:
                self._past.add(number)
                self.recalls.append(number)
            elif passed < 0:
                self._past.discard(number)

    def _go_to(self, label: Label) -> None:
        places = [(read_label(text, label.rate), number) for text, number in self._cues]
        passed = [each for each in places if each[0] <= label]
        if passed:
            self._past.update(number for _, number in passed)
            self.recalls.append(max(passed, key=lambda each: each[0])[1])


def _passed(step: Step, place: Label) -> int:
    """1 if running forwards reached this place, -1 if running backwards left it behind, 0 otherwise."""
    assert step.label is not None
    if step.before is None or step.before.rate != step.label.rate:
        return int(step.label == place)
    moved = step.label.after(step.before)
    if moved >= 0:
        return int(0 <= step.label.after(place) < moved)
    return -int(0 <= step.before.after(place) < -moved)
