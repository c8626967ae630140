"""Notes whose keys are up, and which ring on under a pedal: sustain (64), sostenuto (66), hold 2 (69).

A sostenuto pedal holds the notes whose keys are down when it goes down (MIDI 1.0 Detailed Specification, p. 14), the
others hold all that are released under them. Where a note rings is known from what the channel was sent.
"""

from collections.abc import Container, Iterable
from collections.abc import Set as AbstractSet
from typing import TYPE_CHECKING, Final

from engine.core.routing.sent_values import Channel
from engine.midi.controllers import HOLDING, SOSTENUTO

if TYPE_CHECKING:
    from engine.core.routing.held_presses import Player, Target
    from engine.core.routing.open_routes import OpenRoutes


_NONE: Final = frozenset[int]()
_ALONE: Final = {number: frozenset((number,)) for number in HOLDING}
_SOSTENUTO_ALONE: Final = _ALONE[SOSTENUTO]


class RingingNotes:
    """Loop only. Keys are numbers from 0 to 127; `held`: the channels on which any of these pedals is down.

    `touched`: the channels where `players` may be others than when that was last asked.
    """

    def __init__(self) -> None:
        self.held: dict[Channel, AbstractSet[int]] = {}  # -> the pedals that are down
        self._captured: dict[Channel, set[int]] = {}  # -> the keys that the sostenuto pedal holds
        self._notes: dict[Channel, dict[int, Player]] = {}
        self._unbound: set[Channel] = set()  # where a note may ring that was played by the routes in force
        self.touched: set[Channel] = set()

    def pedal(self, channel: Channel, number: int, down: bool, struck: Iterable["Target"]) -> None:
        """A pedal was moved; `struck`: the keys that are down, on whatever channels."""
        pedals = self.held.get(channel, _NONE)
        if down == (number in pedals):
            return
        if down:
            self.held[channel] = _ALONE[number] if pedals is _NONE else pedals | {number}
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
            held = self._captured.get(channel, set())
            self._notes[channel] = {key: each for key, each in notes.items() if key in held}

    def released(self, channel: Channel, key: int, player: "Player") -> None:
        """A key is up on a channel on which a pedal is down: its note may ring on."""
        if self.held[channel] != _SOSTENUTO_ALONE or key in self._captured.get(channel, ()):
            notes = self._notes.get(channel)
            if notes is None:
                self._notes[channel] = {key: player}
            else:
                notes[key] = player
            self.touched.add(channel)

    def channels(self) -> set[Channel]:
        """Where anything rings."""
        return {channel for channel, notes in self._notes.items() if notes}

    def is_on(self, channel: Channel) -> bool:
        """Whether anything rings there."""
        return bool(self._notes.get(channel))

    def players(self, channel: Channel, struck: Container["Target"]) -> "dict[Player, None]":
        """Who plays what rings on a channel, and by which routes, those of the oldest notes first.

        What was `struck` again since is another note.
        """
        notes = self._notes.get(channel, {}).items()
        return {player: None for key, player in notes if (*channel, key) not in struck}

    def rings(self, targets: Iterable["Target"]) -> bool:
        """Whether the note of any of these keys rings."""
        return any(key in self._notes.get((output, channel), ()) for output, channel, key in targets)

    def take_touched(self) -> set[Channel]:
        """The channels where others may play than when this was last asked."""
        touched, self.touched = self.touched, set()
        self._unbound |= touched
        return touched

    def bind(self, leaving: Container[int], routes: "OpenRoutes") -> set[Channel]:
        """As `HeldNotes.bind`."""
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
        self.touched.add(channel)
        for kept in (self.held, self._captured, self._notes):
            kept.pop(channel, None)

    def end(self, channel: Channel) -> None:
        """All sound of a channel is off."""
        self.touched.add(channel)
        self._notes.pop(channel, None)

    def abandon(self, source: int) -> None:
        """Nothing of this input rings any more."""
        self.touched.update(self._notes)
        for channel, notes in self._notes.items():
            self._notes[channel] = {key: player for key, player in notes.items() if player[0][0] != source}

    def silence(self, output: int | None = None, number: int | None = None) -> None:
        """Nothing rings any more (on one output, or on one channel of it), and no pedal is down."""
        self.touched.update(self._notes)
        for kept in (self.held, self._captured, self._notes):
            for channel in [each for each in kept if output in (None, each[0]) and number in (None, each[1])]:
                del kept[channel]
