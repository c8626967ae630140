"""What several players have selected and set on one channel of one output, so that each one's messages stay whole.

A parameter number (MIDI 1.0 p. 17), a bank (p. 13) and the MSB of a 14-bit controller (p. 12) hold for what follows. If
another player's came in between, their own is sent again.
"""

from collections.abc import Iterator
from typing import Final

from engine.core.cable.output_cable import Unit
from engine.core.routing.merged_messages import HIGHS
from engine.midi.controllers import (
    BANK_LSB,
    BANK_MSB,
    BANKS,
    DATA_LSB,
    DATA_MSB,
    MSB_OF,
    NRPN_LSB,
    NRPN_MSB,
    PARAMETERS,
    RESET_ALL_CONTROLLERS,
    RESTS,
    RPN_LSB,
    RPN_MSB,
)
from engine.midi.kinds import PROGRAM

#: of so many parameters of a channel it is remembered who set them
_MOST_PARAMETERS: Final = 256
#: a controller that selects a parameter -> those that select one of its kind, MSB and LSB
_KIND_OF: Final = {number: kind for kind in ((RPN_MSB, RPN_LSB), (NRPN_MSB, NRPN_LSB)) for number in kind}
_NULL: Final = RESTS[RPN_LSB]
#: in place of a half that no player has sent: it may be waiting still, or have been left out as nothing new
_UNKNOWN: Final = -1

#: kind, high and low byte of a parameter
_Parameter = tuple[tuple[int, int], int, int]


class ParameterSelection:
    """The parameter that one player, or the channel, has selected. Of the two kinds the one selected last counts."""

    __slots__ = ("_halves", "_kind")

    def __init__(self) -> None:
        self._kind: tuple[int, int] | None = None
        self._halves: dict[int, int] = {}  # controller that selects -> its value

    def turn(self, number: int, value: int) -> None:
        """One of the controllers that select was sent."""
        self._kind = _KIND_OF[number]
        self._halves[number] = value

    def clear(self) -> None:
        """No parameter is selected any more."""
        self._kind = None
        self._halves.clear()

    def high(self, number: int) -> int | None:
        """The MSB of the kind that this controller selects."""
        return self._halves.get(_KIND_OF[number][0])

    @property
    def parameter(self) -> _Parameter | None:
        """The selected one; an LSB that was never sent counts as 0, or as null with an MSB that is null."""
        if self._kind is None:
            return None
        high = self._halves.get(self._kind[0])
        low = self._halves.get(self._kind[1], _NULL if high == _NULL else 0)
        return None if high is None or high == low == _NULL else (self._kind, high, low)


class HighsSent:
    """Who sent the last MSB of one controller or parameter, and the last one of each player."""

    __slots__ = ("owner", "values")

    def __init__(self) -> None:
        self.owner: int | None = None
        self.values: dict[int, int] = {}

    def send(self, player: int, value: int | None) -> None:
        """This player sends one; None: what is not known any more."""
        self.owner = player
        if value is None:
            self.values.pop(player, None)
        else:
            self.values[player] = value


class MergedChannel:
    """One channel of one output. Players are inputs, by index."""

    def __init__(self, status: int) -> None:
        """`status`: that of the channel's controllers."""
        self._status = status
        self._selected: dict[int, ParameterSelection] = {}  # by player
        self._in_force = ParameterSelection()  # the channel's
        self._selector: int | None = None  # the player who sent the last message that selects
        self._parameters: dict[_Parameter, HighsSent] = {}  # oldest first
        self._controllers: dict[int, HighsSent] = {}  # by the number of the MSB
        self._banks: dict[int, dict[int, int]] = {}  # player -> bank controllers and their values
        self._bank: dict[int, int] = {}  # the channel's

    def of_controller(self, number: int) -> HighsSent:
        """The MSBs of this controller: it is the number of its MSB."""
        return self._controllers.setdefault(number, HighsSent())

    def turn(self, player: int, message: bytes) -> Unit:
        """What the channel gets for a controller that has an MSB and an LSB, selects a bank, or is of a parameter."""
        number, value = message[1], message[2]
        if number in _KIND_OF:
            return self._select(player, message)
        if number in PARAMETERS:
            return self._set(player, message)
        if number in BANKS:
            _turn_bank(self._banks.setdefault(player, {}), number, value)
            _turn_bank(self._bank, number, value)
            return (message,)
        if number in HIGHS:
            self.of_controller(number).send(player, value)
            return (message,)
        high = MSB_OF[number]
        return (*self._own_high(player, self._controllers.get(high), high), message)

    def program(self, player: int, message: bytes) -> Unit:
        """What the channel gets for a program change: first its player's bank, if another one is in force."""
        own = self._banks.get(player, {})
        if all(half in (None, in_force) for half, in_force in zip(_halves(own), _halves(self._bank), strict=True)):
            return (message,)
        for number, value in own.items():
            _turn_bank(self._bank, number, value)
        return (*(self._message(number, value) for number, value in own.items()), message)

    # Parameters

    def _select(self, player: int, message: bytes) -> Unit:
        number = message[1]
        own = self._selected.setdefault(player, ParameterSelection())
        high = own.high(number)
        sent: Unit = (message,)
        if number != _KIND_OF[number][0] and high is not None and self._selector != player:
            sent = self._message(_KIND_OF[number][0], high), message
        own.turn(number, message[2])
        self._selector = player
        for each in sent:
            self._in_force.turn(each[1], each[2])
        return sent

    def _set(self, player: int, message: bytes) -> Unit:
        """Data entry, increment or decrement."""
        own = self._selected.get(player)
        parameter = None if own is None else own.parameter
        if parameter is None:
            of_others = self._in_force.parameter is not None and any(each != player for each in self._selected)
            return () if of_others else (message,)
        number, before = message[1], tuple(self._selecting(player, parameter))
        if number == DATA_LSB:
            before += self._own_high(player, self._parameters.get(parameter), DATA_MSB)
        else:  # after an increment or decrement the value is not known
            self._of_parameter(parameter).send(player, message[2] if number == DATA_MSB else None)
        return (*before, message)

    def _selecting(self, player: int, parameter: _Parameter) -> Iterator[bytes]:
        """What selects this parameter, if another one is in force."""
        if self._in_force.parameter == parameter:
            return
        self._selector = player
        kind, high, low = parameter
        for number, value in zip(kind, (high, low), strict=True):
            self._in_force.turn(number, value)
            yield self._message(number, value)

    def _of_parameter(self, parameter: _Parameter) -> HighsSent:
        found = self._parameters.get(parameter)
        if found is None:
            if len(self._parameters) == _MOST_PARAMETERS:
                del self._parameters[next(iter(self._parameters))]
            found = self._parameters[parameter] = HighsSent()
        return found

    def _own_high(self, player: int, sent: HighsSent | None, number: int) -> Unit:
        """Before an LSB: the player's own MSB, a value of this controller, if the last one was not theirs."""
        if sent is None or sent.owner == player or player not in sent.values:
            return ()
        sent.owner = player
        return (self._message(number, sent.values[player]),)

    # What is no player's message

    def by_nobody(self, message: bytes) -> None:
        """A burst, a control or the engine itself has sent a controller or a program change."""
        number = message[1]
        if message[0] & 0xF0 == PROGRAM:
            self._banks.clear()
        elif number in BANKS:
            self._banks.clear()
            _turn_bank(self._bank, number, message[2])
        elif number in _KIND_OF:
            self._in_force.turn(number, _UNKNOWN)
            self._selector = None
        elif number == RESET_ALL_CONTROLLERS:
            self._all_reset(None)
        elif number in HIGHS:
            self.of_controller(number).owner = None
        elif number in PARAMETERS and number != DATA_LSB:
            for sent in self._parameters.values():
                sent.owner = None

    def has_set(self, selecting: Unit) -> bool:
        """Whether a player was the last to set the parameter that these two messages select, before nobody set any."""
        (_, high_number, high), (_, low_number, low) = selecting
        sent = self._parameters.get(((high_number, low_number), high, low))
        return sent is not None and sent.owner is not None

    def reset(self, player: int, passed: bool) -> None:
        """A player has reset all controllers; `passed`: the channel got that message as it is (RP-015)."""
        if player in self._selected:
            self._selected[player].clear()
        for number, sent in self._controllers.items():
            if number in RESTS and player in sent.values:
                sent.values[player] = RESTS[number]
        if passed:
            self._all_reset(player)

    def _all_reset(self, player: int | None) -> None:
        self._in_force.clear()
        self._selector = None
        for number, sent in self._controllers.items():
            if number in RESTS:
                sent.owner = player

    # Players

    def is_shared_with(self, player: int) -> bool:
        """Whether a player other than this one has set or selected anything here."""
        return bool(self._selected.keys() - {player}) or any(sent.values.keys() - {player} for sent in self._all_sent())

    def forget(self, player: int) -> None:
        """This player is gone."""
        self._selected.pop(player, None)
        self._banks.pop(player, None)
        if self._selector == player:
            self._selector = None
        for sent in self._all_sent():
            sent.values.pop(player, None)
            if sent.owner == player:
                sent.owner = None

    def _all_sent(self) -> Iterator[HighsSent]:
        yield from self._controllers.values()
        yield from self._parameters.values()

    def _message(self, number: int, value: int) -> bytes:
        return bytes((self._status, number, value))


def _turn_bank(bank: dict[int, int], number: int, value: int) -> None:
    if number == BANK_MSB:
        bank.clear()
    bank[number] = value


def _halves(bank: dict[int, int]) -> tuple[int | None, int | None]:
    """MSB and LSB, None where it is not known; a new MSB sets the LSB to 0 (MIDI 1.0 p. 12)."""
    high = bank.get(BANK_MSB)
    return high, bank.get(BANK_LSB, None if high is None else 0)
