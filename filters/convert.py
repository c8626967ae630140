"""Turns one controller into another: aftertouch into modulation, a fader into pitch bend.

`from = "aftertouch"`, `to = "controller 1"`. Either end is "controller N", "pitch_bend" or "aftertouch"; `from` may
also be "poly_aftertouch" (pressure of single keys; the last message counts). The original does not pass.

The whole travel of one is the whole travel of the other, so the bender's centre is the middle (64) of a controller. A
wheel or pressure that rests at 0 therefore rests at full bend down. To bend upwards only, put a `controllers` filter
with `range = { N = [64, 127] }` before it. A 7-bit value becomes 14 bits by the standard's own rule, which keeps 0,
centre and top (MIDI 2.0 Bit Scaling and Resolution 1.0.2, min-centre-max); 14 bits become 7 by dropping the low ones.
"""

import re
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from engine.midi.controllers import MODE_MESSAGES
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH
from filters.registry import FilterSettings, Step
from filters.steps.convert import converting

_STATUSES: Final = {"pitch_bend": PITCH_BEND, "aftertouch": AFTERTOUCH, "poly_aftertouch": POLY_AFTERTOUCH}
_CONTROLLER: Final = re.compile(r"controller (0|[1-9][0-9]{0,2})")


def _controller_or(*kinds: str) -> BeforeValidator:
    """A check for "controller N" or one of these kinds."""

    def check(found: Any) -> Any:
        match = _CONTROLLER.fullmatch(str(found))
        if found not in kinds and not (match and int(match[1]) < MODE_MESSAGES.start):
            raise ValueError(f'"controller N" with N from 0 to 119, or one of {", ".join(kinds)}')
        return found

    return BeforeValidator(check)


class Settings(FilterSettings):
    """Two different kinds."""

    filter: Literal["convert"]
    source: Annotated[str, _controller_or("pitch_bend", "aftertouch", "poly_aftertouch"), Field(alias="from")]
    to: Annotated[str, _controller_or("pitch_bend", "aftertouch")]

    @model_validator(mode="after")
    def _two_kinds(self) -> Self:
        if self.source == self.to:
            raise ValueError("from and to must be two different kinds")
        return self


def build(settings: Settings) -> Step:
    """Each kind ends in the 7 bits that matter here: a value, a pressure, or the high byte of a bend."""
    came = _STATUSES.get(settings.source, CONTROLLER)
    number = _number(settings.source)
    goes = _STATUSES.get(settings.to, CONTROLLER)
    return converting(came, number, goes, [_tail(settings.to, value) for value in range(128)])


def _number(kind: str) -> int | None:
    return int(kind.removeprefix("controller ")) if kind not in _STATUSES else None


def _tail(kind: str, value: int) -> bytes:
    """What follows the status byte of a message of this kind with this 7-bit value."""
    if kind == "pitch_bend":
        return bytes((_low_bits(value), value))
    number = _number(kind)
    return bytes((value,)) if number is None else bytes((number, value))


def _low_bits(value: int) -> int:
    """The 7 bits that bring 0..127 to 0..16383: none up to the centre, above it the value's own low six repeated."""
    six = value & 0x3F if value > 64 else 0
    return six << 1 | six >> 5
