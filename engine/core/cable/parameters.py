"""The parameters of one output's channels (MIDI 1.0 p. 17): which one is selected, and what each was set to.

What 96 and 97 change a parameter to is not known. An LSB that was never sent counts as 0 once an MSB has been.
"""

from collections import defaultdict
from collections.abc import Iterator
from typing import Final

from engine.midi.controllers import DATA_LSB, DATA_MSB, RESET_ALL_CONTROLLERS, RESTS, RPN_LSB
from engine.midi.kinds import CONTROLLER
from engine.midi.parameter_units import PAIRS, SELECTS, Parameter, SelectedParameter

_NONE: Final = RESTS[RPN_LSB]
#: the controllers that select, those of either kind last
_ORDERS: Final = {last: (*PAIRS[not last], *PAIRS[last]) for last in PAIRS}
_LOW_OF: Final = dict(PAIRS.values())


class Parameters:
    """No clock; channels are 0 to 15."""

    def __init__(self) -> None:
        self._selected: defaultdict[int, SelectedParameter] = defaultdict(SelectedParameter)  # by channel
        self._data: dict[tuple[int, Parameter], dict[int, int]] = {}  # by channel

    def turn(self, channel: int, number: int, value: int) -> None:
        """One of these controllers was sent."""
        if number in SELECTS:
            self._selected[channel].turn(number, value)
            return
        selected = self._selected[channel].as_received
        if selected is None or selected.is_null:
            return
        if number == DATA_LSB:
            self._data.setdefault((channel, selected), {})[number] = value
        elif number == DATA_MSB:
            self._data[channel, selected] = {number: value}  # a new MSB sets the LSB to 0 (MIDI 1.0 p. 12)
        else:
            self._data.pop((channel, selected), None)

    def reset(self, channel: int) -> None:
        """All controllers were reset: no parameter is selected, and what was set stays (RP-015)."""
        self._selected[channel].turn(RESET_ALL_CONTROLLERS, 0)

    def resting(self) -> Iterator[bytes]:
        """The messages that select no parameter."""
        for channel, selected in self._selected.items():
            for number, value in selected.halves():
                if value != _NONE:
                    yield bytes((CONTROLLER | channel, number, _NONE))
                    low = _LOW_OF.get(number)
                    if low is not None and not selected.knows(low):
                        yield bytes((CONTROLLER | channel, low, _NONE))

    def to(self, target: "Parameters") -> Iterator[bytes]:
        """The messages that set and select as in `target`; parameters that were never set there stay."""
        for channel in sorted({*self._selected, *target._selected}):
            yield from self._channel_to(channel, target)

    def _channel_to(self, channel: int, target: "Parameters") -> Iterator[bytes]:
        own, wanted = self._selected[channel], target._selected[channel]
        kind, known = own.registered, {number for number in SELECTS if own.knows(number)}
        halves = {number: own.half(number) for number in SELECTS}
        for parameter, data in target._of(channel):
            if self._data.get((channel, parameter)) != data:
                yield from _set(channel, parameter, data)
                kind = parameter.registered
                halves |= dict(parameter.selecting())
                known.update(PAIRS[kind])
        last = wanted.registered
        for number in _ORDERS[last is not False]:
            value = wanted.half(number)
            if halves[number] != value:
                kind = number in PAIRS[True]
                yield bytes((CONTROLLER | channel, number, value))
                low = _LOW_OF.get(number)
                if low is not None and low not in known:  # an LSB that was sent, or reset, stays
                    halves[low] = _NONE if value == _NONE else 0
        if last is not None and kind != last:
            yield from target._selecting(channel, PAIRS[last])

    def correct(self, known: "Parameters", sure: "Parameters") -> None:
        """Take over what is `known`, except for what is `sure` here."""
        self._data |= {place: dict(data) for place, data in known._data.items() if place not in sure._data}
        for channel, selected in known._selected.items():
            if sure._selected[channel].registered is None:
                self._selected[channel] = selected.copy()

    def messages(self) -> Iterator[bytes]:
        """The messages that would have to be sent to reach this state from nothing."""
        for channel, selected in self._selected.items():
            if selected.registered is not None:
                for parameter, data in self._of(channel):
                    yield from _set(channel, parameter, data)
                yield from self._selecting(channel, _ORDERS[selected.registered])

    def _of(self, channel: int) -> list[tuple[Parameter, dict[int, int]]]:
        return [(parameter, data) for (at, parameter), data in sorted(self._data.items()) if at == channel]

    def _selecting(self, channel: int, numbers: tuple[int, ...]) -> Iterator[bytes]:
        for number in numbers:
            yield bytes((CONTROLLER | channel, number, self._selected[channel].half(number)))


def _set(channel: int, parameter: Parameter, data: dict[int, int]) -> Iterator[bytes]:
    for number, value in (*parameter.selecting(), *sorted(data.items())):
        yield bytes((CONTROLLER | channel, number, value))
