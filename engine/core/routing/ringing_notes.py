"""Notes whose keys are up, and which ring on under a pedal: sustain (64), sostenuto (66), hold 2 (69).

A sostenuto pedal holds the notes whose keys are down when it goes down (MIDI 1.0 Detailed Specification, p. 14), the
others hold all that are released under them. Where a note rings is known from what the channel was sent.
"""

from collections.abc import Container, Iterable, Sequence
from collections.abc import Set as AbstractSet
from typing import TYPE_CHECKING, Final

from engine.core.routing.sent_values import Channel, Hand
from engine.midi.controllers import HOLDING, SOSTENUTO

if TYPE_CHECKING:
    from engine.core.routing.held_presses import Player, Target
    from engine.core.routing.merged_pedals import PedalWay
    from engine.core.routing.open_routes import OpenRoutes


_NONE: Final = frozenset[int]()
_ALONE: Final = {number: frozenset((number,)) for number in HOLDING}
_SOSTENUTO_ALONE: Final = _ALONE[SOSTENUTO]
_MOST: Final = 256  # keys that are up, and of which it has not been looked up whether they ring


class RingingNotes:
    """Loop only. Keys are numbers from 0 to 127; `held`: the channels on which any of these pedals is down.

    `touched`: the channels where `players` may be others than when that was last asked.

    Whether a note rings whose key is up is looked up when it is asked for, since mostly the pedal goes up before.
    """

    def __init__(self) -> None:
        self.held: dict[Channel, AbstractSet[int]] = {}  # -> the pedals that are down
        self._captured: dict[Channel, set[int]] = {}  # -> the keys that the sostenuto pedal holds
        self._notes: dict[Channel, dict[int, Player]] = {}
        self._unbound: set[Channel] = set()  # where a note may ring that was played by the routes in force
        self.touched: set[Channel] = set()
        # keys released since a pedal went down somewhere: by which hand, and by which routes they were played
        self._released: list[tuple[Hand, Sequence[Target], OpenRoutes | None]] = []

    def pedal(self, channel: Channel, number: int, down: bool, struck: Iterable["Target"]) -> None:
        """A pedal was moved; `struck`: the keys that are down, on whatever channels."""
        if down != (number in self.held.get(channel, _NONE)):
            self._turn(channel, number, down, struck)

    def turn(self, way: "PedalWay", down: bool, struck: Iterable["Target"]) -> None:
        """A pedal that was up where this leads is down now, or the other way round."""
        held, rings = self.held, way.rings
        if down and rings and not held:
            held.update(rings)
        elif not down and held == rings and not self._notes:
            held.clear()
            self._released.clear()
        elif way.number is not None:
            for channel in way.channels:
                self._turn(channel, way.number, down, struck)

    def _turn(self, channel: Channel, number: int, down: bool, struck: Iterable["Target"]) -> None:
        if self._released:
            self._catch_up()
        if number == SOSTENUTO or (channel in self.held if down else len(self.held[channel]) > 1):
            self._turn_one_of_several(channel, number, down, struck)
        elif down:
            self.held[channel] = _ALONE[number]
        else:
            del self.held[channel]
            if channel in self._notes:
                del self._notes[channel]
                self.touched.add(channel)

    def _turn_one_of_several(self, channel: Channel, number: int, down: bool, struck: Iterable["Target"]) -> None:
        """The same of a sostenuto pedal, or while another one is down."""
        pedals = self.held.get(channel, _NONE)
        if down:
            self.held[channel] = pedals | {number}
            if number == SOSTENUTO:
                self._captured[channel] = {key for output, on, key in struck if (output, on) == channel}
            return
        if number == SOSTENUTO:
            self._captured.pop(channel, None)
        self.touched.add(channel)
        if len(pedals) == 1:
            del self.held[channel]
            self._notes.pop(channel, None)
            return
        self.held[channel] = pedals = pedals - {number}
        notes = self._notes.get(channel)
        if notes and pedals == _SOSTENUTO_ALONE:
            captured = self._captured.get(channel, set())
            self._notes[channel] = {key: each for key, each in notes.items() if key in captured}

    def released(self, hand: Hand, keys: Sequence["Target"], routes: "OpenRoutes | None") -> None:
        """This hand has released these keys, and nobody holds them: where a pedal is down, their notes may ring on."""
        self._released.append((hand, keys, routes))
        if len(self._released) == _MOST:
            self._catch_up()

    def _catch_up(self) -> None:
        for hand, keys, routes in self._released:
            for output, number, key in keys:
                channel = output, number
                pedals = self.held.get(channel, _NONE)
                if pedals and (pedals != _SOSTENUTO_ALONE or key in self._captured.get(channel, ())):
                    self._notes.setdefault(channel, {})[key] = hand, routes
                    self.touched.add(channel)
        self._released.clear()

    def channels(self) -> set[Channel]:
        """Where anything rings."""
        self._catch_up()
        return {channel for channel, notes in self._notes.items() if notes}

    def is_on(self, channel: Channel) -> bool:
        """Whether anything rings there."""
        self._catch_up()
        return bool(self._notes.get(channel))

    def players(self, channel: Channel, struck: Container["Target"]) -> "dict[Player, None]":
        """Who plays what rings on a channel, and by which routes, those of the oldest notes first.

        What was `struck` again since is another note.
        """
        self._catch_up()
        notes = self._notes.get(channel, {}).items()
        return {player: None for key, player in notes if (*channel, key) not in struck}

    def rings(self, targets: Iterable["Target"]) -> bool:
        """Whether the note of any of these keys rings."""
        self._catch_up()
        return any(key in self._notes.get((output, channel), ()) for output, channel, key in targets)

    def take_touched(self) -> set[Channel]:
        """The channels where others may play than when this was last asked."""
        self._catch_up()
        touched, self.touched = self.touched, set()
        self._unbound |= touched
        return touched

    def bind(self, leaving: Container[int], routes: "OpenRoutes") -> set[Channel]:
        """As `HeldNotes.bind`."""
        self._catch_up()
        bound: set[Channel] = set()
        unbound, self._unbound = self._unbound | self.touched, set()
        for channel in unbound:
            notes = self._notes.get(channel, {})
            for key, (hand, older) in notes.items():
                if older is None and hand[0] in leaving:
                    notes[key] = hand, routes
                    bound.add(channel)
                elif older is None:
                    self._unbound.add(channel)
        self.touched |= bound
        return bound

    def reset(self, channel: Channel) -> None:
        """All controllers of a channel were reset: its pedals are up."""
        self._catch_up()
        self.touched.add(channel)
        for kept in (self.held, self._captured, self._notes):
            kept.pop(channel, None)

    def end(self, channel: Channel) -> None:
        """All sound of a channel is off."""
        self._catch_up()
        self.touched.add(channel)
        self._notes.pop(channel, None)

    def abandon(self, source: int) -> None:
        """Nothing of this input rings any more."""
        self._catch_up()
        self.touched.update(self._notes)
        for channel, notes in self._notes.items():
            self._notes[channel] = {key: player for key, player in notes.items() if player[0][0] != source}

    def silence(self, output: int | None = None, number: int | None = None) -> None:
        """Nothing rings any more (on one output, or on one channel of it), and no pedal is down."""
        self._catch_up()
        self.touched.update(self._notes)
        for kept in (self.held, self._captured, self._notes):
            for channel in [each for each in kept if output in (None, each[0]) and number in (None, each[1])]:
                del kept[channel]
