"""Repeats each note, softer each time, like an echo from the back wall.

`milliseconds = 250`, `repeats = 3`, `fade = 40`: three repeats a quarter of a second apart, each 40 per cent softer
than the one before. With `beats = 0.75` instead of milliseconds they are three quarters of a beat apart, at the tempo
in force when the key is pressed. A repeat lasts as long as its key was held. Silent repeats are left out.
"""

from typing import Annotated, Any, Final, Literal, Self

from pydantic import BeforeValidator, model_validator

from filters._values import whole
from filters.registry import FilterSettings, Since, Step, Surroundings
from filters.steps.echo import repeating

KEEPS_STATE = True

_MINUTE: Final = 60_000_000_000  # ns
_FEWEST, _MOST = 0.05, 16


def _beats(found: Any) -> float:
    if isinstance(found, bool) or not isinstance(found, int | float) or not _FEWEST <= found <= _MOST:
        raise ValueError(f"a number of beats from {_FEWEST} to {_MOST}")
    return float(found)


class Settings(FilterSettings):
    """Milliseconds from 1 to 5000 or beats from 0.05 to 16, repeats from 1 to 16, fade in per cent from 0 to 99."""

    filter: Literal["echo"]
    milliseconds: Annotated[int, BeforeValidator(whole("milliseconds", 1, 5000))] = 250
    beats: Annotated[float | None, BeforeValidator(_beats), Since(2)] = None
    repeats: Annotated[int, BeforeValidator(whole("repeats", 1, 16))] = 3
    fade: Annotated[int, BeforeValidator(whole("fade in per cent", 0, 99))] = 40

    @model_validator(mode="after")
    def _one_distance(self) -> Self:
        if {"milliseconds", "beats"} <= self.model_fields_set:
            raise ValueError("either milliseconds or beats")
        return self


def build(settings: Settings, surroundings: Surroundings) -> Step:
    """The distance is a number of ns, or of beats at the tempo in force."""

    def distance(now: int) -> int:
        if settings.beats is None:
            return settings.milliseconds * 1_000_000
        return round(settings.beats * _MINUTE / surroundings.tempo(now))

    return repeating(settings.repeats, (100 - settings.fade) / 100, distance)
