"""Passes only a part of the keyboard, or only soft or hard playing.

`notes = ["C2", "B3"]` lets these keys and all between them through, `velocity = [1, 80]` presses with these
velocities; both ends are included. A release passes whatever its velocity, so that no note is left sounding, and key
pressure passes by its key alone.

`fade = 4` makes the four keys at each end of the zone softer, the outermost most. Two zones that share these keys cross
over into each other: their velocities add up to that of the press, to within
one. The ends of MIDI's own range do not fade.
"""

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, model_validator

from filters._values import Notes, Values, needs_one, scale, whole
from filters.registry import FilterSettings, Since, Step
from filters.steps.zone import within


class Settings(FilterSettings):
    """Notes as numbers 0 to 127 or names (C4 is 60), velocities 0 to 127, fade in keys from 1 to 64."""

    filter: Literal["zone"]
    notes: Notes = (0, 127)
    velocity: Values = (0, 127)
    fade: Annotated[int | None, BeforeValidator(whole("a number of keys", 1, 64)), Since(2)] = None

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        needs_one(self, "notes", "velocity")
        if self.fade is not None and self.notes == (0, 127):
            raise ValueError("fade needs notes that leave out a part of the keyboard: it softens their ends")
        return self


def build(settings: Settings) -> Step:
    """Comparisons with both ends; with a fade, a look-up of the velocity by note and velocity."""
    lowest, highest = settings.notes
    faded = {note: _velocities(settings, note) for note in range(lowest, highest + 1)} if settings.fade else {}
    return within(settings.notes, settings.velocity, faded)


def _velocities(settings: Settings, note: int) -> bytes:
    """The new velocities of one note, none of them 0."""
    steps = (settings.fade or 0) + 1
    lowest, highest = settings.notes
    ends = [note - lowest + 1] * (lowest > 0) + [highest - note + 1] * (highest < 127)
    share = min(steps, *ends)
    return bytes(max(1, scale(velocity, steps, 0, share)) for velocity in range(128))
