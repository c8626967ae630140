"""The tables of the rig file for clock and time code: `[sync.clock]` and `[sync.timecode]`."""

from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator

from engine.midi.timecode import RATES, read_label
from engine.rig.models.formats import Since
from engine.rig.models.references import Reference
from engine.rig.models.values import Names, NamesOrNone, Outputs, Part, Shift, Tempo


def place_in_code(found: str) -> str:
    """A position in time code, with up to 30 frames; the rate that runs decides how many there are."""
    read_label(found, RATES["30"])
    return found


class Clock(Part):
    """One clock for the rig, from the first of these sources that is running: inputs, or "internal".

    `idle`: our own clock goes on while it is stopped; `offset`: by output, how much later it gets the clock;
    `transport`: those of `to` that get start, stop and song position, None for all.
    """

    source: Annotated[Names, Reference("inputs", word="internal", many=True)] = Field(("internal",), alias="from")
    bpm: Tempo = 120.0
    to: Outputs = ()
    run: bool = False
    idle: Annotated[bool, Since(2)] = True
    offset: Annotated[dict[str, Shift], Since(2)] = Field(default_factory=dict)
    transport: Annotated[NamesOrNone | None, Reference("outputs", many=True), Since(2)] = None


class TimeCode(Part):
    """One time code for the rig.

    `chase`: a jump recalls the scene that belongs there; `with_clock`: our own time code starts and stops with the
    clock that is followed.
    """

    source: Annotated[str, Reference("inputs", word="internal")] = Field("internal", alias="from")
    rate: Literal["24", "25", "29.97 drop", "30"] = "25"
    start: str = "00:00:00:00"
    to: Outputs = ()
    run: bool = False
    chase: bool = False
    with_clock: bool = False

    @field_validator("start")
    @classmethod
    def _exists(cls, start: str, known: ValidationInfo) -> str:
        if "rate" in known.data:
            read_label(start, RATES[known.data["rate"]])
        return start


class Sync(Part):
    clock: Clock | None = None
    timecode: TimeCode | None = None
