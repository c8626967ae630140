"""Passes the MIDI clock, blocks it, or divides it for gear that should play at half speed or less.

Exactly one of `pass = true` (as without this filter), `block = true` and `divide = 2` (every second tick passes).
Only the ticks (F8) are affected. Start, continue and stop always pass, since a synth may need them without the clock;
to keep a sequencer from starting, use `strip` with "transport".

A divided clock counts from the start of the song: the first tick after start or a song position passes, and after
stop and continue the count continues where it was, however many ticks came while stopped (MIDI 1.0 p. 30 to 32).
"""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from filters._values import whole
from filters.registry import FilterSettings, Step
from filters.steps.clock import blocking, dividing, passing

KEEPS_TIME = True


def _true(found: Any) -> Any:
    if found is not True:
        raise ValueError("true, or leave it out")
    return found


_True = Annotated[bool, BeforeValidator(_true)]


class Settings(FilterSettings):
    """One of the three."""

    filter: Literal["clock"]
    passes: Annotated[_True | None, Field(alias="pass")] = None
    block: _True | None = None
    divide: Annotated[int, BeforeValidator(whole("every Nth tick, N", 1, 384))] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if len(self.model_fields_set - {"filter"}) != 1:
            raise ValueError("exactly one of pass = true, block = true and divide = N")
        return self


def keeps_state(settings: Settings) -> bool:
    """Only a divided clock counts."""
    return settings.divide is not None


def build(settings: Settings) -> Step:
    """One of three steps."""
    if settings.divide is not None:
        return dividing(settings.divide)
    return blocking() if settings.block else passing()
