"""Holds notes as a sustain pedal does, for gear that has none.

While the sustain pedal (64) is down, a note goes on sounding when its key is released, and ends when the pedal comes
up. The sostenuto pedal (66) holds the notes whose keys are down when it is pressed, and no others. Both are down from
64 on (MIDI 1.0 Table III). They are not passed on. Channels are counted separately; all notes off and reset all
controllers end what is held, and pass.
"""

from typing import Annotated, Literal

from filters.registry import FilterSettings, Since, Step, Surroundings
from filters.steps.sustain import holding

KEEPS_STATE = True


class Settings(FilterSettings):
    """There is nothing to set."""

    filter: Annotated[Literal["sustain"], Since(2)]


def build(settings: Settings, surroundings: Surroundings) -> Step:
    """From where the pedals are now."""
    return holding(surroundings.positions())
