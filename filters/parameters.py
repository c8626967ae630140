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
from collections.abc import Iterable
from typing import Annotated, Any, Final, Literal, NamedTuple, Self

from pydantic import BeforeValidator, Field, model_validator

from engine.midi.controllers import (
    BANKS,
    DATA_LSB,
    DATA_MSB,
    LSB_OF,
    MODE_MESSAGES,
    MSB_OF,
    RESET_ALL_CONTROLLERS,
    VELOCITY_PREFIX,
)
from engine.midi.kinds import CONTROLLER
from engine.midi.parameter_units import DATA_INCREMENT, SELECTS, SETS, Parameter, SelectedParameter
from filters._values import TABLE, Values, as_list, needs_one, not_both, scale
from filters.registry import FilterSettings, Since, Step

KEEPS_STATE = True

_NAME: Final = re.compile(r"(?:(n?rpn) ([0-9]{1,3})/([0-9]{1,3})|controller ([0-9]{1,3}))")
_ALLOWED: Final = (
    '"nrpn M/L" or "rpn M/L" with M and L from 0 to 127 (not both 127), or "controller N" with N from 1 to 31 or from '
    "64 to 119, without 6 and 96 to 101, which make up parameters, and 88, which belongs to a note"
)
_CONTROLLERS: Final = frozenset(range(MODE_MESSAGES.start)) - {*BANKS, *MSB_OF, *SELECTS, *SETS, VELOCITY_PREFIX}

#: a parameter, or a controller by its number
Unit = Parameter | int


def _unit(name: str) -> Unit:
    """What a name means. Raises ValueError, which says what is allowed."""
    match = _NAME.fullmatch(name)
    if match and match[4]:
        if int(match[4]) in _CONTROLLERS:
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


class _Rules:
    """The settings by unit."""

    def __init__(self, settings: Settings) -> None:
        keep = {_unit(name) for name in settings.keep}
        self._kept_parameters = {unit for unit in keep if isinstance(unit, Parameter)}
        self._kept_controllers = keep - self._kept_parameters
        self._dropped = {_unit(name) for name in settings.drop}
        self.ranges = {_unit(name): ends for name, ends in settings.range.items()}
        self.targets = {_unit(name): _unit(target) for name, target in settings.map.items()}

    def lets_through(self, unit: Unit) -> bool:
        """Whether keep and drop let it through."""
        kept: Iterable[Unit] = self._kept_parameters if isinstance(unit, Parameter) else self._kept_controllers
        return unit not in self._dropped and (not kept or unit in kept)

    def leaves_alone(self, unit: Unit) -> bool:
        """Whether it passes as it is."""
        return self.lets_through(unit) and unit not in self.ranges and unit not in self.targets


class _Value(NamedTuple):
    """Both bytes of a value; None is one that has not come."""

    msb: int | None
    lsb: int | None

    def stepped(self, step: int) -> "_Value":
        """One step further: of the LSB if there is one, otherwise of the MSB (our own choice; RP-018 says LSB)."""
        if self.msb is None:
            return self
        if self.lsb is None:
            return _Value(min(127, max(0, self.msb + step)), None)
        whole = min(16383, max(0, (self.msb << 7 | self.lsb) + step))
        return _Value(whole >> 7, whole & 0x7F)

    def scaled(self, low: int, high: int) -> "_Value":
        """Within low and high, which are MSBs."""
        if self.msb is None:
            return self
        if self.lsb is None:
            return _Value(scale(self.msb, 127, low, high), None)
        whole = scale(self.msb << 7 | self.lsb, 16383, low << 7, high << 7 | 0x7F)
        return _Value(whole >> 7, whole & 0x7F)


_UNKNOWN: Final = _Value(None, None)


class _Channel:
    """One channel: what came in, and what is selected behind the filter."""

    def __init__(self, status: int, rules: _Rules) -> None:
        self._status, self._rules = status, rules
        self._came = SelectedParameter()
        self._sent: Parameter | None = None  # not known
        self._values: dict[Unit, _Value] = {}

    def turn(self, message: bytes) -> tuple[bytes, ...]:
        """What becomes of a controller."""
        _, number, value = message
        if number in SELECTS:
            return self._select(number, value)
        if number in SETS:
            selected = self._came.now
            return () if selected is None or selected.is_null else self._set(selected, number, value)
        if number == RESET_ALL_CONTROLLERS:  # no parameter is selected any more, here and there
            self._came.turn(number, value)
            self._sent = None
        unit = MSB_OF.get(number, number)
        if unit not in _CONTROLLERS or self._rules.leaves_alone(unit):
            return (message,)
        return self._set(unit, DATA_MSB if unit == number else DATA_LSB, value)

    def _select(self, number: int, value: int) -> tuple[bytes, ...]:
        """A selection leaves with the first data for it, the null parameter at once."""
        self._came.turn(number, value)
        selected = self._came.now
        if selected is None or not selected.is_null:
            self._sent = None  # it is selected again, as the player has done
            return ()
        if self._sent == selected:
            return ()
        self._sent = selected
        return self._messages(selected.selecting())

    def _set(self, unit: Unit, number: int, value: int) -> tuple[bytes, ...]:
        """Data for a unit; `number` is the controller that sets a parameter in this way."""
        if not self._rules.lets_through(unit):
            return ()
        before = self._values.get(unit, _UNKNOWN)
        target, ends = self._rules.targets.get(unit, unit), self._rules.ranges.get(unit)
        if number == DATA_MSB:
            after = _Value(value, None)
        elif number == DATA_LSB:
            after = before._replace(lsb=value)
        elif isinstance(target, Parameter) and ends is None:
            self._values.pop(unit, None)  # what it is now, the receiver alone knows
            return self._messages((*self._selecting(target), (number, value)))
        else:
            after = before.stepped(1 if number == DATA_INCREMENT else -1)
        self._values[unit] = after
        if ends is not None:
            if after.msb is None:
                return ()
            after = after.scaled(*ends)
        if isinstance(target, Parameter):
            return self._messages(self._entering(target, after, number, whole=ends is not None))
        return self._messages(_moving(target, after, number, whole=ends is not None))

    def _entering(self, target: Parameter, value: _Value, number: int, *, whole: bool) -> Iterable[tuple[int, int]]:
        """What sets a parameter; `whole`: with an LSB the MSB is sent, too."""
        selecting = self._selecting(target)
        yield from selecting
        if value.msb is not None and (number != DATA_LSB or selecting or whole):
            yield DATA_MSB, value.msb
        if value.lsb is not None:
            yield DATA_LSB, value.lsb

    def _selecting(self, target: Parameter) -> tuple[tuple[int, int], ...]:
        if self._sent == target:
            return ()
        self._sent = target
        return target.selecting()

    def _messages(self, turned: Iterable[tuple[int, int]]) -> tuple[bytes, ...]:
        return tuple(bytes((self._status, number, value)) for number, value in turned)


def _moving(target: int, value: _Value, number: int, *, whole: bool) -> Iterable[tuple[int, int]]:
    """What moves a controller."""
    low = LSB_OF.get(target)
    if value.msb is not None and (number != DATA_LSB or (whole and low is not None)):
        yield target, value.msb
    if value.lsb is not None and low is not None:
        yield low, value.lsb


def build(settings: Settings) -> Step:
    """Remember for each channel what is selected and what each parameter was set to."""
    rules = _Rules(settings)
    channels = [_Channel(CONTROLLER | channel, rules) for channel in range(16)]

    def parameters(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != CONTROLLER:
            return (message,)
        return channels[message[0] & 0x0F].turn(message)

    return parameters
