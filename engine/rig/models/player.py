"""The table of the rig file for a player with scenes of their own: `[[players]]`."""

from typing import Annotated

from pydantic import AfterValidator

from engine.rig.models.references import Reference
from engine.rig.models.values import Inputs, Name, Part


def _one_word(found: str) -> str:
    """It stands in addresses of Open Sound Control (OSC 1.0: none of these in a name)."""
    if any(each in " #*,/?[]{}" for each in found) or not found.isascii() or not found.isprintable():
        raise ValueError('a name in ASCII without blanks and without any of # * , / ? [ ] { }, such as "anna"')
    return found


class Player(Part):
    """One player. `inputs`: theirs alone; `setlist`: the set list that they play by from the start."""

    name: Annotated[Name, AfterValidator(_one_word)]
    inputs: Inputs
    setlist: Annotated[Name, Reference("set lists")]
