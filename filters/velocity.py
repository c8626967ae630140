"""Makes velocities even, limits them, or plays as on a lighter or heavier keyboard.

* `fixed = 100`: every press is this hard.
* `curve = 30`: soft playing sounds louder, as on a lighter keyboard; below 0 it takes more force. From -100 to 100,
  0 is straight: velocity v becomes 127 * (v / 127) ** (2 ** (-curve / 50)), so 50 is a square root and -50 a square.
* `range = [40, 110]`: velocities 1 to 127 are scaled linearly to 40 to 110, after the curve if there is one.

Releases and their velocity stay unchanged, and no press becomes softer than 1.
"""

from typing import Literal, Self

from pydantic import model_validator

from filters._values import Curve, Velocities, Velocity, curved, needs_one, scale
from filters.registry import FilterSettings, Step
from filters.steps.velocity import striking


class Settings(FilterSettings):
    """Velocities 1 to 127; `fixed` alone, or `curve` and `range`, which may be combined."""

    filter: Literal["velocity"]
    fixed: Velocity | None = None
    curve: Curve = 0
    range: Velocities = (1, 127)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        needs_one(self, "fixed", "curve", "range")
        if self.fixed is not None and self.model_fields_set.intersection(("curve", "range")):
            raise ValueError("either fixed, or curve and range: a fixed velocity has neither")
        return self


def build(settings: Settings) -> Step:
    """A look-up of the new velocity by the old one."""
    return striking(bytes(_velocity(settings, velocity) for velocity in range(128)))


def _velocity(settings: Settings, velocity: int) -> int:
    if settings.fixed is not None:
        return settings.fixed
    return scale(max(1, curved(velocity, settings.curve)) - 1, 126, *settings.range)
