"""Recalls scenes by time code: once each time it runs past their place, never by a jump backwards."""

from typing import Final

from engine.core.timing.sync_settings import CueSettings
from engine.core.timing.timecode import TimecodeStep
from engine.midi.timecode import Label, cue_place

_CORRECTION: Final = 2  # frames by which a reader may be corrected


class TimecodeCues:
    """The scenes to recall now, and those passed already. Loop only."""

    def __init__(self, settings: CueSettings) -> None:
        self.recalls: list[int] = []  # scene numbers, taken away by the caller
        self._cues, self._chase = settings.cues, settings.chase
        self._past: set[int] = set()  # scenes whose place was passed and is not far ahead again
        self._jumped = False  # to where it is: a cue there counts as passed once it runs on

    def adopt(self, settings: CueSettings) -> None:
        """Take the cues of an edited rig. Those that were passed and are unchanged stay passed."""
        kept = {number for _, number in set(settings.cues) & set(self._cues)}
        self._cues, self._chase = settings.cues, settings.chase
        self._past &= kept

    def pass_by(self, step: TimecodeStep) -> None:
        """The time code has moved."""
        if not self._cues:
            return
        jumped, self._jumped = self._jumped, not step.ran
        if not step.ran:
            self._past.clear()
            if self._chase:
                self._go_to(step.label)
            return
        for text, number in self._cues:
            place = cue_place(text, step.label.rate)
            if number in self._past:
                if step.label.after(place) < -_CORRECTION:
                    self._past.discard(number)
            elif _passed(step, place, jumped):
                self._past.add(number)
                self.recalls.append(number)

    def _go_to(self, label: Label) -> None:
        places = [(cue_place(text, label.rate), number) for text, number in self._cues]
        passed = [each for each in places if each[0] <= label]
        if passed:
            self._past.update(number for _, number in passed)
            self.recalls.append(max(passed, key=lambda each: each[0])[1])


def _passed(step: TimecodeStep, place: Label, from_there: bool) -> bool:
    """Whether running forwards led to this place or over it; `from_there`: or began at it."""
    if step.before is None or step.before.rate != step.label.rate:
        return step.label == place
    moved = step.label.after(step.before)
    return 0 <= step.label.after(place) < moved + from_there
