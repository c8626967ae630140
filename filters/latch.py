"""Makes a momentary switch latch: press for on, press again for off.

`controllers = [64]` for a sustain pedal. Each press (from below 64 to 64 or more) sends 127 and 0 alternately; the
release sends nothing. Channels are counted separately. Each starts off, and is off again after a panic.
"""

from typing import Literal

from filters._values import Controllers
from filters.registry import FilterSettings, Step
from filters.steps.latch import latching

KEEPS_STATE = True


class Settings(FilterSettings):
    """Controller numbers 0 to 119."""

    filter: Literal["latch"]
    controllers: Controllers


def build(settings: Settings) -> Step:
    """The switches by number."""
    return latching(frozenset(settings.controllers))
