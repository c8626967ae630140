"""Selects, stretches, inverts, scales and renumbers controllers: pedals, wheels, faders.

`keep` lets only these controllers through, `drop` stops these. `stretch = { 11 = [5, 118] }` is for a pedal that never
reaches its ends: what lies between them becomes 0 to 127. `invert` turns a controller around (127 becomes 0),
`curve = { 11 = 30 }` bends its travel: above 0 it rises sooner, below 0 later. `range = { 7 = [20, 100] }` scales the
whole travel to 20 to 100, and `map = { 1 = 11 }` sends it on as another one. All of these refer to the number that came
in, and act in the order of this paragraph.

Channel mode messages (120 to 127, such as all notes off) pass `keep`, so that no note is left sounding, and so does
the velocity prefix (88), which belongs to a note; `drop` stops those that it names. The LSB of a 14-bit controller (33
of 1) counts as a controller of its own here.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from engine.midi.controllers import MODE_MESSAGES, VELOCITY_PREFIX
from filters._values import (
    TABLE,
    Controller,
    ControllerKey,
    ControllerOrMode,
    Controllers,
    Curve,
    Travel,
    Values,
    as_list,
    curved,
    needs_one,
    not_both,
    scale,
)
from filters.registry import FilterSettings, Since, Step
from filters.steps.controllers import reshaping

_AnyControllers = Annotated[tuple[ControllerOrMode, ...], as_list("controllers")]


class Settings(FilterSettings):
    """Controller numbers 0 to 119, in keep and drop also 120 to 127; values 0 to 127, curves -100 to 100."""

    filter: Literal["controllers"]
    keep: _AnyControllers = ()
    drop: _AnyControllers = ()
    stretch: Annotated[dict[ControllerKey, Travel], TABLE, Since(2)] = Field(default_factory=dict)
    invert: Controllers = ()
    curve: Annotated[dict[ControllerKey, Curve], TABLE, Since(2)] = Field(default_factory=dict)
    range: Annotated[dict[ControllerKey, Values], TABLE] = Field(default_factory=dict)
    map: Annotated[dict[ControllerKey, Controller], TABLE] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        needs_one(self, "keep", "drop", "map", "range", "stretch", "invert", "curve")
        return not_both(self, self.keep, self.drop, "controller")


def build(settings: Settings) -> Step:
    """For each controller number that passes: its new number, and its new values where they change."""
    kept = {*settings.keep, *MODE_MESSAGES, VELOCITY_PREFIX} if settings.keep else set(range(128))
    numbers = {number: settings.map.get(number, number) for number in kept.difference(settings.drop)}
    changed = {number: _values(settings, number) for number in _reshaped(settings)}
    return reshaping(numbers, changed)


def _reshaped(settings: Settings) -> set[int]:
    return {*settings.stretch, *settings.invert, *settings.curve, *settings.range}


def _values(settings: Settings, number: int) -> bytes:
    """The 128 new values of one controller."""
    lowest, highest = settings.stretch.get(number, (0, 127))
    low, high = settings.range.get(number, (0, 127))
    values = []
    for came in range(128):
        value = scale(min(max(came, lowest), highest) - lowest, highest - lowest, 0, 127)
        value = 127 - value if number in settings.invert else value
        values.append(scale(curved(value, settings.curve.get(number, 0)), 127, low, high))
    return bytes(values)
