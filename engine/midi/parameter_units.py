"""Registered and other parameters as units: which one a channel has selected, and what it is set to, in words.

A parameter is selected with two controllers (101 and 100, or 99 and 98) and set with 6, 38, 96 or 97; other messages
may come in between (MIDI 1.0 p. 17, 18). The null parameter, 127/127, selects none (Table 3a).
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

from engine.midi.controllers import (
    DATA_LSB,
    DATA_MSB,
    NRPN_LSB,
    NRPN_MSB,
    RESET_ALL_CONTROLLERS,
    RESTS,
    RPN_LSB,
    RPN_MSB,
)

DATA_INCREMENT, DATA_DECREMENT = 96, 97

_NONE: Final = RESTS[RPN_LSB]
#: a controller that selects -> whether it selects a registered parameter
_REGISTERED: Final = {RPN_MSB: True, RPN_LSB: True, NRPN_MSB: False, NRPN_LSB: False}
SELECTS: Final = frozenset(_REGISTERED)
#: whether registered -> the controllers that select a parameter of this kind, MSB and LSB
PAIRS: Final = {True: (RPN_MSB, RPN_LSB), False: (NRPN_MSB, NRPN_LSB)}
SETS: Final = frozenset({DATA_MSB, DATA_LSB, DATA_INCREMENT, DATA_DECREMENT})


class Parameter(NamedTuple):
    """A parameter by its number, as MSB and LSB; `registered`: an RPN, otherwise an NRPN."""

    registered: bool
    msb: int
    lsb: int

    @property
    def is_null(self) -> bool:
        """Whether it is the one that selects none."""
        return self.msb == self.lsb == _NONE

    @property
    def words(self) -> str:
        """ "NRPN 1/8" """
        return f"{'RPN' if self.registered else 'NRPN'} {self.msb}/{self.lsb}"

    def selecting(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The two controllers that select it, each with its value."""
        high, low = PAIRS[self.registered]
        return (high, self.msb), (low, self.lsb)


class SelectedParameter:
    """Which parameter one channel has selected; of the two kinds the one selected last counts.

    An LSB that never came counts as 0, or as null with an MSB that is null.
    """

    __slots__ = ("_halves", "_registered")

    def __init__(self) -> None:
        self._halves: dict[int, int] = {}  # controller that selects -> its value
        self._registered: bool | None = None  # which kind was selected last

    def turn(self, number: int, value: int) -> None:
        """A controller of this channel; only those that select count, and Reset All Controllers (RP-015)."""
        if number == RESET_ALL_CONTROLLERS:
            self._halves = dict.fromkeys(SELECTS, _NONE)
        elif number in SELECTS:
            self._halves[number] = value
            self._registered = _REGISTERED[number]

    def copy(self) -> "SelectedParameter":
        """An independent copy."""
        made = SelectedParameter()
        made._halves, made._registered = dict(self._halves), self._registered
        return made

    @property
    def registered(self) -> bool | None:
        """Which kind was selected last; None if neither was."""
        return self._registered

    @property
    def now(self) -> Parameter | None:
        """The one that is selected, which may be null; None if that is not known."""
        if self._registered is None or not self.knows(RPN_MSB if self._registered else NRPN_MSB):
            return None
        return self.as_received

    @property
    def as_received(self) -> Parameter | None:
        """The same as a receiver takes it that began with null; None if neither kind was selected."""
        if self._registered is None:
            return None
        high, low = PAIRS[self._registered]
        return Parameter(self._registered, self.half(high), self.half(low))

    @property
    def is_whole(self) -> bool:
        """Whether both the MSB and the LSB of the one that is selected have been sent."""
        return self._registered is not None and all(map(self.knows, PAIRS[self._registered]))

    def knows(self, number: int) -> bool:
        """Whether this controller has been sent."""
        return number in self._halves

    def half(self, number: int) -> int:
        """The value of a controller that selects, as a receiver takes it."""
        found = self._halves.get(number)
        if found is not None:
            return found
        high = PAIRS[_REGISTERED[number]][0]
        return _NONE if self._halves.get(high, _NONE) == _NONE else 0

    def halves(self) -> Iterator[tuple[int, int]]:
        """The controllers that select and have been sent, with their values."""
        yield from self._halves.items()


class DataEntry:
    """What one channel of a stream sets: its selected parameter, and the last value of that."""

    def __init__(self) -> None:
        self.selection = SelectedParameter()
        self.msb: int | None = None  # the last data MSB of the selected parameter, if that is known

    @property
    def selected(self) -> Parameter | None:
        """See `SelectedParameter.now`."""
        return self.selection.now

    def note(self, number: int, value: int) -> None:
        """A controller of this channel."""
        if number == DATA_MSB:
            self.msb = value
        elif number in (DATA_INCREMENT, DATA_DECREMENT):
            self.msb = None  # what it is now is not known
        elif number != DATA_LSB:
            before = self.selection.now
            self.selection.turn(number, value)
            if self.selection.now != before:
                self.msb = None

    def turn(self, number: int, value: int) -> str | None:
        """A controller of this channel; in words what it sets, None if it sets no parameter.

        "NRPN 1/8 = 64", "NRPN 1/8 = 8208 / 14" once the LSB has come, "NRPN 1/8 + 1", "NRPN 1/8, LSB = 16" without an
        MSB before.
        """
        self.note(number, value)
        parameter = self.selected
        if number not in SETS or parameter is None or parameter.is_null:
            return None
        if number == DATA_MSB:
            return f"{parameter.words} = {value}"
        if number == DATA_LSB:
            whole = None if self.msb is None else self.msb << 7 | value
            return f"{parameter.words}, LSB = {value}" if whole is None else f"{parameter.words} = {whole} / 14"
        return f"{parameter.words} {'+' if number == DATA_INCREMENT else '-'} 1"
