"""The step of `parameters`."""

from collections.abc import Iterable, Mapping, Set
from typing import Final, NamedTuple

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
from filters._values import scale
from filters.registry import Step

#: the controllers that are units of their own
SINGLE: Final = frozenset(range(MODE_MESSAGES.start)) - {*BANKS, *MSB_OF, *SELECTS, *SETS, VELOCITY_PREFIX}

#: a parameter, or a controller by its number
Unit = Parameter | int


class ParameterRules:
    """The settings by unit."""

    def __init__(
        self, keep: Set[Unit], drop: Set[Unit], ranges: Mapping[Unit, tuple[int, int]], targets: Mapping[Unit, Unit]
    ) -> None:
        """`keep`: all units of a kind if none of that kind is among them."""
        self._kept_parameters = {unit for unit in keep if isinstance(unit, Parameter)}
        self._kept_controllers = keep - self._kept_parameters
        self._dropped, self.ranges, self.targets = drop, ranges, targets

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

    def __init__(self, status: int, rules: ParameterRules) -> None:
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
        if unit not in SINGLE or self._rules.leaves_alone(unit):
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


def changing_parameters(rules: ParameterRules) -> Step:
    """Remember for each channel what is selected and what each parameter was set to."""
    channels = [_Channel(CONTROLLER | channel, rules) for channel in range(16)]

    def parameters(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != CONTROLLER:
            return (message,)
        return channels[message[0] & 0x0F].turn(message)

    return parameters
