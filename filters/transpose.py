"""Transposes notes by a number of semitones.

Notes and their key pressure move by `semitones` (12 is an octave up, -12 an octave down). A note outside
MIDI's 0 to 127 is not played (`outside = "drop"`), or is moved by octaves until it fits (`outside = "fold"`).
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator

from filters._values import whole
from filters.registry import FilterSettings, Step
from filters.steps.transpose import moving_notes


class Settings(FilterSettings):
    """Semitones from -127 to 127."""

    filter: Literal["transpose"]
    semitones: Annotated[int, BeforeValidator(whole("semitones", -127, 127))]
    outside: Literal["drop", "fold"] = "drop"


def build(settings: Settings) -> Step:
    """A look-up of the new note by the old one; None is outside."""
    moved = (note + settings.semitones for note in range(128))
    notes = [_folded(note) if settings.outside == "fold" or 0 <= note <= 127 else None for note in moved]
    return moving_notes(notes)


def _folded(note: int) -> int:
    """The note of the same name within 0 to 127 that is nearest."""
    if note < 0:
        return note % 12
    return note if note <= 127 else note - 12 * ((note - 128) // 12 + 1)
