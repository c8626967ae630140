"""Thins out the values of wheels, faders and pressure, so that a slow cable is not flooded.

`milliseconds = 20`: values of a controller, bender or pressure that come sooner than 20 ms after the last one that
passed are left out. Channels, controllers and keys are counted separately.

What must arrive always passes: 0, 64 and 127 (the ends of the travel and the rest in its middle), and the bender's ends
and centre. The last value of a movement that stops in between passes as soon as its 20 ms are over. Controllers that
must keep their place pass at once: pedals, switches and buttons (64 to 69, 80 to 83), bank select, data entry and
parameter numbers, what belongs to the next note (84 and 88), channel mode messages. The LSB of a 14-bit controller goes
with its MSB: it waits while that waits, and is left out only with it. Without an MSB, it is a controller of its own.
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator

from filters._values import whole
from filters.registry import FilterSettings, Step
from filters.steps.thin import thinning

KEEPS_STATE = True


class Settings(FilterSettings):
    """Milliseconds from 1 to 1000."""

    filter: Literal["thin"]
    milliseconds: Annotated[int, BeforeValidator(whole("milliseconds", 1, 1000))]


def build(settings: Settings) -> Step:
    """The time between two values in nanoseconds."""
    return thinning(settings.milliseconds * 1_000_000)
