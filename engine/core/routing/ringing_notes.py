"""Notes whose keys are up, and which ring on under a pedal: sustain (64), sostenuto (66), hold 2 (69).

A sostenuto pedal holds the notes whose keys are down when it goes down (MIDI 1.0 Detailed Specification, p. 14), the
others hold all that are released under them. Where a note rings is known from what the channel was sent.
"""

from collections.abc import Container, Iterable, Iterator
from typing import TYPE_CHECKING

from engine.core.routing.told_values import Channel
from engine.midi.controllers import SOSTENUTO

if TYPE_CHECKING:
    from engine.core.routing.held_ledger import Target, Voice
    from engine.core.routing.open_routes import OpenRoutes


class RingingNotes:
    """Loop only. Keys are numbers from 0 to 127; `held`: the channels on which any of these pedals is down."""

    def __init__(self) -> None:
        self.held: dict[Channel, set[int]] = {}  # -> the pedals that are down
        self._captured: dict[Channel, set[int]] = {}  # -> the keys that the sostenuto pedal holds
        self._notes: dict[Channel, dict[int, Voice]] = {}

    def pedal(self, channel: Channel, number: int, down: bool, keys: Iterable[int]) -> None:
        """A pedal was moved; `keys` are down."""
        pedals = self.held.get(channel, set())
        if down == (number in pedals):
            return
        if down:
            self.held[channel] = pedals | {number}
            if number == SOSTENUTO:
                self._captured[channel] = {*keys}
            return
        if number == SOSTENUTO:
            self._captured.pop(channel, None)
        if pedals == {number}:
            del self.held[channel]
            self._notes.pop(channel, None)
            return
        self.held[channel] = pedals = pedals - {number}
        notes = self._notes.get(channel)
        if notes and pedals == {SOSTENUTO}:
            held = self._captured.get(channel, set())
            self._notes[channel] = {key: voice for key, voice in notes.items() if key in held}

    def released(self, key: int, voice: "Voice") -> None:
        """A key is up on a channel on which a pedal is down: its note may ring on."""
        channel = voice.channel
        if self.held[channel] != {SOSTENUTO} or key in self._captured.get(channel, ()):
            self._notes.setdefault(channel, {})[key] = voice

    def channels(self) -> set[Channel]:
        """Where anything rings."""
        return {channel for channel, notes in self._notes.items() if notes}

    def voices(self, struck: Container["Target"]) -> Iterator["Voice"]:
        """All that rings but what was struck again since: that is another note."""
        for (output, channel), notes in self._notes.items():
            for key, voice in notes.items():
                if (output, channel, key) not in struck:
                    yield voice

    def bind(self, sources: set[int], routes: "OpenRoutes") -> None:
        """As `Ledger.bind`."""
        for notes in self._notes.values():
            for key, voice in notes.items():
                if voice.hand[0] in sources and voice.routes is None:
                    notes[key] = voice._replace(routes=routes)

    def reset(self, channel: Channel) -> None:
        """All controllers of a channel were reset: its pedals are up."""
        for kept in (self.held, self._captured, self._notes):
            kept.pop(channel, None)

    def end(self, channel: Channel) -> None:
        """All sound of a channel is off."""
        self._notes.pop(channel, None)

    def abandon(self, source: int) -> None:
        """Nothing of this input rings any more."""
        for channel, notes in self._notes.items():
            self._notes[channel] = {key: voice for key, voice in notes.items() if voice.hand[0] != source}

    def silence(self, output: int | None = None, number: int | None = None) -> None:
        """Nothing rings any more (on one output, or on one channel of it), and no pedal is down."""
        for kept in (self.held, self._captured, self._notes):
            for channel in [each for each in kept if output in (None, each[0]) and number in (None, each[1])]:
                del kept[channel]
