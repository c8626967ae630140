"""The parameters of one output's channels (MIDI 1.0 p. 17): which one is selected, and what each was set to.

A parameter is selected with two controllers, 101 and 100 (99 and 98 if it is not registered), and then set with 6 and
38. What 96 and 97 change it to is not known. An LSB that was never sent counts as 0 once an MSB has been.
"""

from collections.abc import Iterator
from typing import Final

from engine.midi.controllers import DATA_LSB, DATA_MSB, NRPN_LSB, NRPN_MSB, RESTS, RPN_LSB, RPN_MSB
from engine.midi.kinds import CONTROLLER

#: the two kinds of parameter, each by the controller of its LSB -> the controller of its MSB
_HIGH_OF: Final = {NRPN_LSB: NRPN_MSB, RPN_LSB: RPN_MSB}
_LOW_OF: Final = {high: low for low, high in _HIGH_OF.items()}
#: a controller that selects a parameter -> the kind
_KIND_OF: Final = {number: low for low, high in _HIGH_OF.items() for number in (low, high)}
_NONE: Final = RESTS[RPN_LSB]

_Parameter = tuple[int, int, int, int]  # channel, kind, high byte, low byte


class Parameters:
    """No clock; channels are 0 to 15."""

    def __init__(self) -> None:
        self._kinds: dict[int, int] = {}  # channel -> the kind that was selected last
        self._halves: dict[tuple[int, int], int] = {}  # channel, controller that selects -> its value
        self._data: dict[_Parameter, dict[int, int]] = {}

    def turn(self, channel: int, number: int, value: int) -> None:
        """One of these controllers was sent."""
        if number in _KIND_OF:
            self._kinds[channel] = _KIND_OF[number]
            self._halves[channel, number] = value
            return
        selected = self._selected(channel)
        if selected is None:
            return
        if number == DATA_LSB:
            self._data.setdefault(selected, {})[number] = value
        elif number == DATA_MSB:
            self._data[selected] = {number: value}  # a new MSB sets the LSB to 0 (MIDI 1.0 p. 12)
        else:
            self._data.pop(selected, None)

    def reset(self, channel: int) -> None:
        """All controllers were reset: no parameter is selected, and what was set stays (RP-015)."""
        for number in _KIND_OF:
            self._halves.pop((channel, number), None)

    def resting(self) -> Iterator[bytes]:
        """The messages that select no parameter."""
        for (channel, number), value in self._halves.items():
            if value != _NONE:
                yield bytes((CONTROLLER | channel, number, _NONE))
                low = _LOW_OF.get(number)
                if low is not None and (channel, low) not in self._halves:
                    yield bytes((CONTROLLER | channel, low, _NONE))

    def to(self, target: "Parameters") -> Iterator[bytes]:
        """The messages that set and select as in `target`; parameters that were never set there stay."""
        for channel in sorted({*self._kinds, *target._kinds}):
            other = [(it, data) for it, data in target._of(channel) if self._data.get(it) != data]
            kind, halves = self._kinds.get(channel), self._of_channel(channel)
            for it, data in other:
                yield from _set(it, data)
                kind = it[1]
                halves[_HIGH_OF[kind]], halves[kind] = it[2:]
            last = target._kinds.get(channel)
            for number in _order(last):
                value = target._half(channel, number)
                if halves[number] != value:
                    kind = _KIND_OF[number]
                    yield bytes((CONTROLLER | channel, number, value))
                    if number in _LOW_OF and halves[kind] == _NONE:
                        halves[kind] = 0
            if last is not None and kind != last:
                yield from target._selecting(channel, last)

    def messages(self) -> Iterator[bytes]:
        """The messages that would have to be sent to reach this state from nothing."""
        for channel, last in self._kinds.items():
            for it, data in self._of(channel):
                yield from _set(it, data)
            for number in _order(last):
                yield bytes((CONTROLLER | channel, number, self._half(channel, number)))

    def _half(self, channel: int, number: int) -> int:
        """The value of a controller that selects, as the receiver takes it."""
        value = self._halves.get((channel, number))
        if value is not None:
            return value
        high = self._halves.get((channel, _HIGH_OF.get(number, number)), _NONE)
        return _NONE if high == _NONE else 0

    def _selected(self, channel: int) -> _Parameter | None:
        kind = self._kinds.get(channel)
        if kind is None:
            return None
        high, low = (self._half(channel, number) for number in (_HIGH_OF[kind], kind))
        return None if high == low == _NONE else (channel, kind, high, low)

    def _of(self, channel: int) -> list[tuple[_Parameter, dict[int, int]]]:
        return [(it, data) for it, data in sorted(self._data.items()) if it[0] == channel]

    def _of_channel(self, channel: int) -> dict[int, int]:
        return {number: self._half(channel, number) for number in _KIND_OF}

    def _selecting(self, channel: int, kind: int) -> Iterator[bytes]:
        for number in (_HIGH_OF[kind], kind):
            yield bytes((CONTROLLER | channel, number, self._half(channel, number)))


def _order(last: int | None) -> tuple[int, ...]:
    """The controllers that select, those of this kind last."""
    registered, other = (RPN_MSB, RPN_LSB), (NRPN_MSB, NRPN_LSB)
    return (*registered, *other) if last == NRPN_LSB else (*other, *registered)


def _set(it: _Parameter, data: dict[int, int]) -> Iterator[bytes]:
    channel, kind, high, low = it
    yield bytes((CONTROLLER | channel, _HIGH_OF[kind], high))
    yield bytes((CONTROLLER | channel, kind, low))
    for number, value in sorted(data.items()):
        yield bytes((CONTROLLER | channel, number, value))
