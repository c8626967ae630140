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
    PARAMETERS,
    RESET_ALL_CONTROLLERS,
    RESTS,
)
from engine.midi.kinds import PROGRAM
from engine.midi.parameter_units import PAIRS, SELECTS, Parameter, SelectedParameter

#: of so many parameters of a channel it is remembered who set them
_MOST_PARAMETERS: Final = 256
#: a controller that selects a parameter -> the one that selects its MSB
_HIGH_OF: Final = {number: pair[0] for pair in PAIRS.values() for number in pair}
#: in place of a half that no player has sent: it may be waiting still, or have been left out as nothing new
_UNKNOWN: Final = -1


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
        self._selected: dict[int, SelectedParameter] = {}  # by player
        self._in_force = SelectedParameter()  # the channel's
        self._parameters: dict[Parameter, HighsSent] = {}  # oldest first
        self._controllers: dict[int, HighsSent] = {}  # by the number of the MSB
        self._banks: dict[int, dict[int, int]] = {}  # player -> bank controllers and their values
        self._bank: dict[int, int] = {}  # the channel's

    def of_controller(self, number: int) -> HighsSent:
        """The MSBs of this controller: it is the number of its MSB."""
        return self._controllers.setdefault(number, HighsSent())

    def turn(
        self,
        player: int,
        message: bytes,
        whole: SelectedParameter | None = None,
        missed: tuple[Parameter, int] | None = None,
    ) -> Unit:
        """What the channel gets for a controller that has an MSB and an LSB, selects a bank, or is of a parameter.

        `whole`: what is selected where this comes from, MSB and LSB: channels of one input that are led to one channel
        here each have their own (MIDI 1.0 p. 17); without it what has come here from this player counts. `missed`: a
        parameter and its data MSB, which has not come here.
        """
        number, value = message[1], message[2]
        if number in SELECTS:
            return self._select(player, message, whole)
        if number in PARAMETERS:
            return self._set(player, message, whole or self._own(player), missed)
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

    def _select(self, player: int, message: bytes, whole: SelectedParameter | None) -> Unit:
        number = message[1]
        own = self._own(player)
        selected, high = whole or own, _HIGH_OF[number]
        sent: Unit = (message,)
        if number != high and selected.knows(high) and not self._is_in_force(high, selected.half(high)):
            sent = self._message(high, selected.half(high)), message
        own.turn(number, message[2])
        for each in sent:
            self._in_force.turn(each[1], each[2])
        return sent

    def _own(self, player: int) -> SelectedParameter:
        return self._selected.setdefault(player, SelectedParameter())

    def _is_in_force(self, number: int, value: int) -> bool:
        return self._in_force.knows(number) and self._in_force.half(number) == value

    def _set(
        self, player: int, message: bytes, selected: SelectedParameter, missed: tuple[Parameter, int] | None
    ) -> Unit:
        """Data entry, increment or decrement."""
        parameter = selected.now
        if parameter is None or parameter.is_null:
            return () if self._would_set(player, parameter) else (message,)
        number, before = message[1], tuple(self._selecting(player, parameter))
        if missed is not None and missed[0] == parameter:
            self._of_parameter(parameter).send(player, missed[1])
            before += (self._message(DATA_MSB, missed[1]),)
        elif number == DATA_LSB:
            before += self._own_high(player, self._parameters.get(parameter), DATA_MSB)
        else:  # after an increment or decrement the value is not known
            self._of_parameter(parameter).send(player, message[2] if number == DATA_MSB else None)
        return (*before, message)

    def _would_set(self, player: int, null: Parameter | None) -> bool:
        """Whether data of a player who has selected nothing, or `null`, would set what others have selected."""
        in_force = self._in_force.now
        if in_force is None or in_force.is_null:
            return False
        return null is not None or self._have_others_selected(player)

    def _selecting(self, player: int, parameter: Parameter) -> Iterator[bytes]:
        """What selects this parameter, if another one is in force."""
        if self._in_force.now == parameter:
            return
        for number, value in parameter.selecting():
            self._in_force.turn(number, value)
            yield self._message(number, value)

    def _of_parameter(self, parameter: Parameter) -> HighsSent:
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
        elif number in SELECTS:
            self._in_force.turn(number, _UNKNOWN)
        elif number == RESET_ALL_CONTROLLERS:
            self._all_reset(None)
        elif number in HIGHS:
            self.of_controller(number).owner = None
        elif number in PARAMETERS and number != DATA_LSB:
            for sent in self._parameters.values():
                sent.owner = None

    def has_set(self, selecting: Unit) -> bool:
        """Whether a player was the last to set the parameter that these two messages select, before nobody set any."""
        (_, number, high), (_, _, low) = selecting
        sent = self._parameters.get(Parameter(number in PAIRS[True], high, low))
        return sent is not None and sent.owner is not None

    def reset(self, player: int, passed: bool) -> None:
        """A player has reset all controllers; `passed`: the channel got that message as it is (RP-015)."""
        self._own(player).turn(RESET_ALL_CONTROLLERS, 0)
        for number, sent in self._controllers.items():
            if number in RESTS and player in sent.values:
                sent.values[player] = RESTS[number]
        if passed:
            self._all_reset(player)

    def _all_reset(self, player: int | None) -> None:
        self._in_force.turn(RESET_ALL_CONTROLLERS, 0)
        for number, sent in self._controllers.items():
            if number in RESTS:
                sent.owner = player

    # Players

    def is_shared_with(self, player: int) -> bool:
        """Whether a player other than this one has set or selected anything here."""
        return self._have_others_selected(player) or any(sent.values.keys() - {player} for sent in self._all_sent())

    def _have_others_selected(self, player: int) -> bool:
        return any(each != player and own.registered is not None for each, own in self._selected.items())

    def forget(self, player: int) -> None:
        """This player is gone."""
        self._selected.pop(player, None)
        self._banks.pop(player, None)
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
