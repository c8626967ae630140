"""Registered and other parameters of one output's channels (MIDI 1.0 p. 17): which is chosen, and what each was set to.

A parameter is chosen with two controllers, 101 and 100 (or 99 and 98 for those that are not registered), and then set
with 6 and 38. What 96 and 97 make of it is not known.
"""

from collections.abc import Iterator
from typing import Final

from engine.midi.controllers import DATA_LSB, DATA_MSB, NRPN_LSB, NRPN_MSB, RESTS, RPN_LSB, RPN_MSB
from engine.midi.kinds import CONTROLLER

#: the two kinds of parameter, each by the controller of its low byte -> the controller of its high byte
_HIGH_OF: Final = {NRPN_LSB: NRPN_MSB, RPN_LSB: RPN_MSB}
#: what chooses a parameter -> its kind
_KIND_OF: Final = {number: low for low, high in _HIGH_OF.items() for number in (low, high)}
_NONE: Final = RESTS[RPN_LSB]

_Parameter = tuple[int, int, int, int]  # channel, kind, high byte, low byte


class Parameters:
    """No clock; channels are 0 to 15."""

    def __init__(self) -> None:
        self._kinds: dict[int, int] = {}  # channel -> the kind that was chosen from last
        self._halves: dict[tuple[int, int], int] = {}  # channel, controller that chooses -> its value
        self._data: dict[_Parameter, dict[int, int]] = {}

    def turn(self, channel: int, number: int, value: int) -> None:
        """One of the controllers was sent."""
        if number in _KIND_OF:
            self._kinds[channel] = _KIND_OF[number]
            self._halves[channel, number] = value
            return
        chosen = self._chosen(channel)
        if chosen is None:
            return
        if number == DATA_LSB:
            self._data.setdefault(chosen, {})[number] = value
        elif number == DATA_MSB:
            self._data[chosen] = {number: value}  # a new high byte zeroes the low byte (MIDI 1.0 p. 12)
        else:
            self._data.pop(chosen, None)

    def reset(self, channel: int) -> None:
        """All controllers were reset: none is chosen, and what was set stays (RP-015)."""
        for number in _KIND_OF:
            self._halves.pop((channel, number), None)

    def resting(self) -> Iterator[bytes]:
        """What chooses none."""
        for (channel, number), value in self._halves.items():
            if value != _NONE:
                yield bytes((CONTROLLER | channel, number, _NONE))

    def to(self, wanted: "Parameters") -> Iterator[bytes]:
        """What sets and chooses as `wanted` does; what was never set there stays."""
        for channel in sorted({*self._kinds, *wanted._kinds}):
            other = [(it, data) for it, data in wanted._of(channel) if self._data.get(it) != data]
            kind, halves = self._kinds.get(channel), self._of_channel(channel)
            for it, data in other:
                yield from _set(it, data)
                kind = it[1]
                halves[_HIGH_OF[kind]], halves[kind] = it[2:]
            last = wanted._kinds.get(channel)
            for number in _order(last):
                value = wanted._halves.get((channel, number), _NONE)
                if halves[number] != value:
                    kind = _KIND_OF[number]
                    yield bytes((CONTROLLER | channel, number, value))
            if last is not None and kind != last:
                yield from wanted._choosing(channel, last)

    def told(self) -> Iterator[bytes]:
        """What would have to be sent to be here from nothing."""
        for channel, last in self._kinds.items():
            for it, data in self._of(channel):
                yield from _set(it, data)
            for number in _order(last):
                yield bytes((CONTROLLER | channel, number, self._halves.get((channel, number), _NONE)))

    def _chosen(self, channel: int) -> _Parameter | None:
        kind = self._kinds.get(channel)
        if kind is None:
            return None
        high, low = (self._halves.get((channel, number), _NONE) for number in (_HIGH_OF[kind], kind))
        return None if high == low == _NONE else (channel, kind, high, low)

    def _of(self, channel: int) -> list[tuple[_Parameter, dict[int, int]]]:
        return [(it, data) for it, data in sorted(self._data.items()) if it[0] == channel]

    def _of_channel(self, channel: int) -> dict[int, int]:
        return {number: self._halves.get((channel, number), _NONE) for number in _KIND_OF}

    def _choosing(self, channel: int, kind: int) -> Iterator[bytes]:
        for number in (_HIGH_OF[kind], kind):
            yield bytes((CONTROLLER | channel, number, self._halves.get((channel, number), _NONE)))


def _order(last: int | None) -> tuple[int, ...]:
    """The controllers that choose, those of one kind last."""
    registered, other = (RPN_MSB, RPN_LSB), (NRPN_MSB, NRPN_LSB)
    return (*registered, *other) if last == NRPN_LSB else (*other, *registered)


def _set(it: _Parameter, data: dict[int, int]) -> Iterator[bytes]:
    channel, kind, high, low = it
    yield bytes((CONTROLLER | channel, _HIGH_OF[kind], high))
    yield bytes((CONTROLLER | channel, kind, low))
    for number, value in sorted(data.items()):
        yield bytes((CONTROLLER | channel, number, value))
