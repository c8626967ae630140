"""Passes only a part of the keyboard, or only soft or hard playing.

`notes = ["C2", "B3"]` lets these keys and all between them through, `velocity = [1, 80]` presses with these
velocities; both ends are included. A release passes whatever its velocity, so that no note is left sounding, and key
pressure passes by its key alone.
"""

from typing import Literal, Self

from pydantic import model_validator

from engine.midi.kinds import CONTROLLER, is_press
from filters._values import Notes, Values, needs_one
from filters.registry import FilterSettings, Step


class Settings(FilterSettings):
    """Notes as numbers 0 to 127 or names (C4 is 60), velocities 0 to 127."""

    filter: Literal["zone"]
    notes: Notes = (0, 127)
    velocity: Values = (0, 127)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        return needs_one(self, "notes", "velocity")


def build(settings: Settings) -> Step:
    """Comparisons with both ends."""
    lowest, highest = settings.notes
    softest, hardest = settings.velocity

    def zone(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= CONTROLLER:
            return (message,)
        if not lowest <= message[1] <= highest:
            return ()
        if is_press(message) and not softest <= message[2] <= hardest:
            return ()
        return (message,)

    return zone
