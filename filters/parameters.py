"""Selects, renumbers and scales whole parameters: RPNs, NRPNs and 14-bit controllers, which take several messages.

`keep = ["nrpn 1/8", "rpn 0/0"]` lets only these through, `drop` stops these. `range = { "nrpn 1/8" = [0, 100] }` scales
the whole travel of one, and `map = { "nrpn 1/8" = "controller 74" }` sends it on as another one or as a controller;
`map = { "controller 74" = "nrpn 1/8" }` does the reverse. All of these refer to what came in, and act in the order of
this paragraph. A `keep` without any controller passes all controllers, one without any parameter all parameters.

A parameter leaves whole, with its selection; "controller 7" has the LSB 39, as all from 1 to 31 have one. A 7-bit value
is the MSB, so what becomes a controller without an LSB loses its own. Increments pass to a parameter; what becomes a
controller or is scaled moves on by one step from its last value, and not at all if none has come. Data without a
selection that came in this scene does not pass, since it is not known what it would set.
"""

import re
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from engine.midi.parameter_units import Parameter
from filters._values import TABLE, Values, as_list, needs_one, not_both
from filters.registry import FilterSettings, Since, Step
from filters.steps.parameters import SINGLE, ParameterRules, Unit, changing_parameters

KEEPS_STATE = True

_NAME: Final = re.compile(r"(?:(n?rpn) ([0-9]{1,3})/([0-9]{1,3})|controller ([0-9]{1,3}))")
_ALLOWED: Final = (
    '"nrpn M/L" or "rpn M/L" with M and L from 0 to 127 (not both 127), or "controller N" with N from 1 to 31 or from '
    "64 to 119, without 6 and 96 to 101, which make up parameters, and 88, which belongs to a note"
)


def _unit(name: str) -> Unit:
    """What a name means. Raises ValueError, which says what is allowed."""
    match = _NAME.fullmatch(name)
    if match and match[4]:
        if int(match[4]) in SINGLE:
            return int(match[4])
    elif match:
        parameter = Parameter(match[1] == "rpn", int(match[2]), int(match[3]))
        if max(parameter.msb, parameter.lsb) <= 127 and not parameter.is_null:
            return parameter
    raise ValueError(_ALLOWED)


def _name(found: Any) -> str:
    name = " ".join(str(found).lower().split())
    _unit(name)
    return name


Name = Annotated[str, BeforeValidator(_name)]
_Names = Annotated[tuple[Name, ...], as_list("parameters")]


class Settings(FilterSettings):
    """Parameters and controllers by name, values 0 to 127."""

    filter: Annotated[Literal["parameters"], Since(2)]
    keep: _Names = ()
    drop: _Names = ()
    range: Annotated[dict[Name, Values], TABLE] = Field(default_factory=dict)
    map: Annotated[dict[Name, Name], TABLE] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        needs_one(self, "keep", "drop", "map", "range")
        return not_both(self, self.keep, self.drop, "parameter")


def build(settings: Settings) -> Step:
    """The settings by unit instead of by name."""
    keep, drop = ({_unit(name) for name in names} for names in (settings.keep, settings.drop))
    ranges = {_unit(name): ends for name, ends in settings.range.items()}
    targets = {_unit(name): _unit(target) for name, target in settings.map.items()}
    return changing_parameters(ParameterRules(keep, drop, ranges, targets))
