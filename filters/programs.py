"""Renumbers program changes: what one instrument has at 7 another has at 77.

`map = { 7 = 77 }` in printed numbers, 1 to 128; other programs pass unchanged.
"""

from typing import Annotated, Literal

from filters._values import TABLE, Program, ProgramKey
from filters.registry import FilterSettings, Step
from filters.steps.programs import choosing


class Settings(FilterSettings):
    """Programs as printed, 1 to 128."""

    filter: Literal["programs"]
    map: Annotated[dict[ProgramKey, Program], TABLE]


def build(settings: Settings) -> Step:
    """A look-up by the number in the message."""
    return choosing({came - 1: goes - 1 for came, goes in settings.map.items()})
