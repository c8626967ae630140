"""The lines of a scene in format 2: who plays which instrument, and what is sent when the scene comes and goes."""

from typing import Annotated

from pydantic import Field, model_validator

from engine.rig.models.references import Reference
from engine.rig.models.values import Channel, Name, Names, Part, Plain, SetupLines, between
from filters._values import Notes, Values
from filters.registry import FilterSettings

#: filters in order; a text is the name of a chain
Chain = tuple[FilterSettings | str, ...]


class PlayLine(Part):
    """Inputs play an instrument; or, with `off`, the inherited line of this name is taken away.

    `group`: a name under which it is muted together with others; `channel`: only this one of the inputs is played;
    `notes`, `velocity`: lowest and highest; `transpose` in semitones. `pedal`: whether the pedals 64, 66, 67 and 69
    pass; `programs`: whether program changes, bank selects and mode messages do.
    """

    name: Plain | None = None
    group: Name | None = None
    off: bool = False
    source: Annotated[Names, Reference("inputs", many=True)] = Field((), alias="from")
    on: Annotated[str | None, Reference("instruments")] = None
    sound: str | None = None
    notes: Notes = (0, 127)
    velocity: Values = (0, 127)
    transpose: Annotated[int, between(-127, 127)] = 0
    channel: Channel | None = None
    pedal: bool = True
    programs: bool = False
    through: Annotated[Chain, Reference("chains", many=True)] = ()

    @model_validator(mode="after")
    def _plays_or_is_off(self) -> "PlayLine":
        if self.off and (self.name is None or self.model_fields_set != {"name", "off"}):
            raise ValueError("off goes with the name of an inherited line, and with nothing else")
        if not self.off and not (self.source and self.on is not None):
            raise ValueError("a line needs from = INPUT and on = INSTRUMENT")
        return self


class Sending(Part):
    """What is sent to an instrument, on its channel, or to an output: messages in words."""

    on: Annotated[str | None, Reference("instruments")] = None
    to: Annotated[str | None, Reference("outputs")] = None
    send: SetupLines

    @model_validator(mode="after")
    def _one_receiver(self) -> "Sending":
        if (self.on is None) == (self.to is None):
            raise ValueError("give either on = INSTRUMENT or to = OUTPUT")
        return self
