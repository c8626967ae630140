"""Renumbers notes, for pads and keys that should play others: what one kit has at 36 another has at 40.

`map = { 36 = 40, C2 = "D2" }` in numbers or names (C4 is 60); other notes pass unchanged. Pressure on a key or pad
follows its note.
"""

from typing import Literal

from filters._values import NoteMap
from filters.registry import FilterSettings, Step
from filters.steps.notes import exchanging


class Settings(FilterSettings):
    """Notes as numbers 0 to 127 or names."""

    filter: Literal["notes"]
    map: NoteMap


def build(settings: Settings) -> Step:
    """A look-up of the new note by the old one."""
    return exchanging(settings.map)
