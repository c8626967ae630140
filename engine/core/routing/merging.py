"""Several players on one channel: what each one sends is sent on so that no other player's notes and values suffer.

Pedals, parameters and banks are merged by `merged_pedals` and `merged_channel`; keys by the ledger. Here are the
channel mode messages, which would end or reset what other players hold (MIDI 1.0 p. 20-25, RP-015).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from engine.core.cable.output_cable import Unit
from engine.core.cable.replaceable_values import resets
from engine.core.routing.held_ledger import Ledger
from engine.core.routing.held_presses import Target
from engine.core.routing.merged_channel import HighsSent, MergedChannel
from engine.core.routing.merged_messages import HIGHS, MERGED_VALUES, SentHigh, ends_notes, is_pedal
from engine.core.routing.open_routes import OpenRoutes
from engine.core.routing.played_parameters import PlayedParameter
from engine.core.routing.player_numbers import NOBODY, all_of
from engine.core.routing.positions import Positions
from engine.core.routing.sent_values import Hand, Moved, hand_of, is_low, moves_of, rest_for
from engine.midi.controllers import (
    ALL_SOUND_OFF,
    DATA_LSB,
    DATA_MSB,
    ENDS_NOTES,
    PARAMETERS,
    RESET_ALL_CONTROLLERS,
)
from engine.midi.kinds import CONTROLLER, NOTE_ON, PROGRAM

_Units = Iterable[tuple[int, Unit]]


class Merging:
    """What is merged at all channels of all outputs. Loop only. Players are inputs, by index.

    `channels`: by output, and channel from 0 to 15, those on which any player has sent what is merged.
    """

    def __init__(self, ledger: Ledger, on: bool) -> None:
        """`on`: whether anything is merged but keys."""
        self.on = on
        self._ledger = ledger
        self.channels: dict[tuple[int, int], MergedChannel] = {}
        self._came: defaultdict[Hand, PlayedParameter] = defaultdict(PlayedParameter)
        self._highs: dict[tuple[int, int, int], HighsSent] = {}  # those of the channels, by the place of a `SentHigh`

    def hear(self, player: int, message: bytes) -> None:
        """A controller came in that is part of a parameter, or resets all, wherever it is routed."""
        self._came[hand_of(player, message)].hear(message[1], message[2])

    def look_after_lows(
        self, player: int, came: bytes, units: _Units, routes: OpenRoutes, positions: Positions
    ) -> None:
        """If this is the first LSB of all, `note` hears of each MSB from now on. Earlier ones are in `positions`.

        What one channel of an input has moved, and another one resets, is lost there: then `note` hears of it now.
        """
        if is_low(came):
            self._remember_highs(routes, positions)
        elif resets(came):
            reset = {(output, each[0] & 0x0F) for output, unit in units for each in unit if resets(each)}
            others = [each for each in positions.of(player) if (each[0] ^ came[0]) & 0x0F]
            led = (moved for each in others for moved in routes.moves(player, each))
            if any(moved.channel in reset and _is_high(moved.what) for moved in led):
                self._remember_highs(routes, positions)

    def _remember_highs(self, routes: OpenRoutes, positions: Positions) -> None:
        self._ledger.sent.lows = True
        for player in [*positions.places]:
            for message in positions.of(player):
                for (output, what), sent in routes.moves(player, message).items():
                    if sent and _is_high(what):  # else a filter holds it back
                        self.note(player, (((output, what[0], what[1]), sent[2]),))
        values = self._ledger.sent
        for (output, status, number), sent_high in self._highs.items():
            moved = Moved(output, bytes((status, number)))
            now = values.now(moved) or rest_for(moved) or b""
            there = [player for player, value in sent_high.values.items() if now[2:] == bytes((value,))]
            mover = next((hand[0] for hand in values.mover(moved)), next(iter(there), None))
            sent_high.owner = None if values.is_commanded(moved) else mover

    def note(self, player: int, highs: Iterable[SentHigh]) -> None:
        """A player's MSBs are sent as they came. (Short: wheels and faders move all the time.)"""
        for place, value in highs:
            sent = self._highs.get(place)
            if sent is None:
                output, status, number = place
                sent = self._highs[place] = self._channel(output, status).of_controller(number)
            sent.owner = player
            sent.values[player] = value

    def merge(
        self, player: int, came: bytes, units: _Units, routes: OpenRoutes, late: bool = False
    ) -> list[tuple[int, Unit]]:
        """What the outputs get for a player's message that came in and made these units by these routes.

        The ledger has noted what they move and select. `late`: a filter has held this back.
        """
        now = None if late else routes
        merged: list[tuple[int, Unit]] = []
        for output, unit in units:
            if len(unit) == 1:
                made = self._merge(player, came, output, unit[0], now)
            else:
                made = tuple(each for message in unit for each in self._merge(player, came, output, message, now))
            if made:
                merged.append((output, made))
        if ends_notes(came):
            reached = {(output, each[0] & 0x0F) for output, unit in units for each in unit if ends_notes(each)}
            merged += self._end_elsewhere(player, came[0] & 0x0F, reached, routes)
        return merged

    def by_nobody(self, output: int, messages: Iterable[bytes]) -> None:
        """These were sent on an output, and no player has sent them."""
        if not self.channels:
            return
        for message in messages:
            if CONTROLLER <= message[0] < PROGRAM + 16:
                channel = self.channels.get((output, message[0] & 0x0F))
                if channel is not None:
                    channel.by_nobody(message)

    def has_set(self, output: int, channel: int, selecting: Unit) -> bool:
        """Whether a player was the last to set the parameter that these two messages select, before nobody set any."""
        found = self.channels.get((output, channel))
        return found is not None and found.has_set(selecting)

    def forget(self, player: int) -> None:
        """This player's input is gone, and what they held has been released."""
        for channel in self.channels.values():
            channel.forget(player)
        for hand in [each for each in self._came if each[0] == player]:
            del self._came[hand]

    def _merge(self, player: int, came: bytes, output: int, message: bytes, routes: OpenRoutes | None) -> Unit:
        kind = message[0] & 0xF0
        if kind == CONTROLLER:
            number = message[1]
            if number in MERGED_VALUES:
                made = self._value(player, came, output, message, routes)
                return made if len(made) == 1 else self._noted(player, came, output, made)
            if is_pedal(message):
                return self._pedal(player, came, output, message)
            if number in ENDS_NOTES:
                return self._end_notes(player, output, message)
            if number == RESET_ALL_CONTROLLERS:
                return self._reset(player, came, output, message)
        elif kind == PROGRAM:
            made = self._channel(output, message[0]).program(player, message)
            return made if len(made) == 1 else self._noted(player, came, output, made)
        return (message,)

    def _value(self, player: int, came: bytes, output: int, message: bytes, routes: OpenRoutes | None) -> Unit:
        """What the channel gets for a value that others follow.

        What the player has selected and sent before counts wherever it was led, unless filters have changed this, or
        (`routes` is None) have held it back.
        """
        channel, number = self._channel(output, message[0]), message[1]
        if number not in PARAMETERS:
            return channel.turn(player, message)
        played, place = self._came[hand_of(player, came)], (output, message[0] & 0x0F)
        if number == DATA_MSB:
            played.reach(place)
        if routes is None or message[1:] != came[1:]:
            return channel.turn(player, message)
        if number == DATA_LSB:
            missed = played.missed(place)
            if missed is not None and place in routes.leads(player, bytes((came[0], DATA_MSB, missed[1]))):
                played.reach(place)
                return channel.turn(player, message, played.whole, missed)
        return channel.turn(player, message, played.whole)

    def _channel(self, output: int, status: int) -> MergedChannel:
        place = (output, status & 0x0F)
        channel = self.channels.get(place)
        if channel is None:
            channel = self.channels[place] = MergedChannel(CONTROLLER | place[1])
        return channel

    def _noted(self, player: int, came: bytes, output: int, unit: Unit) -> Unit:
        """What is sent again is in force now."""
        for message in unit:
            if message[0] & 0xF0 == CONTROLLER and message[1] in PARAMETERS:
                as_came = bytes((came[0], *message[1:]))
                self._ledger.move(player, as_came, moves_of(output, (message,)))
        return unit

    # Pedals

    def _pedal(self, player: int, came: bytes, output: int, message: bytes) -> Unit:
        pedal = Moved(output, message[:2])
        value = self._ledger.turn_pedal(pedal, hand_of(player, came), (came, message[2]))
        return () if value is None else (pedal.what + bytes((value,)),)

    # Mode messages

    def _end_notes(self, player: int, output: int, message: bytes) -> Unit:
        """All Notes Off, and what implies it, is for this player's own notes."""
        place = (output, message[0] & 0x0F)
        players = _all_of(player)
        if not self._ledger.others_sound(players, *place):
            self._ledger.notes.end_silently(players, *place, message[1] != ALL_SOUND_OFF)
            return (message,)
        return tuple(
            off
            for _, off in self._ledger.notes.end(players, lambda _, target: (target.output, target.channel) == place)
        )

    def _end_elsewhere(
        self, player: int, channel: int, reached: set[tuple[int, int]], routes: OpenRoutes
    ) -> Iterator[tuple[int, Unit]]:
        """Note-offs for what the same keys began in other scenes, on channels that this one does not lead to.

        Where it leads, but keeps such messages back, notes sound on.
        """

        def ends(key: tuple[int, int, int], target: Target) -> bool:
            if key[1] != channel or (target.output, target.channel) in reached:
                return False
            press = bytes((NOTE_ON | channel, key[2], 64))
            return (target.output, target.channel) not in routes.leads(player, press)

        for output, off in self._ledger.notes.end({player}, ends):
            yield output, (off,)

    def _reset(self, player: int, came: bytes, output: int, message: bytes) -> Unit:
        """Reset All Controllers is for what this player has moved."""
        place = (output, message[0] & 0x0F)
        channel = self._channel(output, message[0])
        alone = not (self._ledger.others_moved((player, NOBODY), *place) or channel.is_shared_with(player))
        made: Unit = ()
        for rest in () if alone else self._ledger.rests_of(player, *place):
            if is_pedal(rest):
                pedal = Moved(output, rest[:2])
                theirs = {hand for hand in self._ledger.movers(pedal) if hand[0] == player}
                made += tuple(each for _, each in self._ledger.leave(pedal, theirs))
            elif self._owner(output, rest) in (player, None):
                self._ledger.move(player, came, moves_of(output, (rest,)))
                made += self._merge(player, came, output, rest, None)
        if alone:
            self._ledger.reset(place)
        channel.reset(player, alone)
        return (message,) if alone else made

    def _owner(self, output: int, message: bytes) -> int | None:
        """Who sent the last MSB of this message's controller, if that is known: an LSB alone makes it nobody else's."""
        sent = self._highs.get((output, message[0], message[1])) if message[0] & 0xF0 == CONTROLLER else None
        return None if sent is None else sent.owner


def _all_of(player: int) -> frozenset[int]:
    """The numbers under which the ledger has this player's keys, and the delayed notes of their filters."""
    return all_of(player) | {player}


def _is_high(what: bytes) -> bool:
    """Whether this names a controller of `HIGHS`."""
    return what[0] & 0xF0 == CONTROLLER and what[1] in HIGHS
