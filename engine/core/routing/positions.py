"""Where the pedals, wheels and faders of each input really are, as far as they have been moved."""

from collections.abc import Iterable

from engine.core.routing.told_values import position_of
from engine.midi.controllers import LSB_OF
from engine.midi.kinds import CONTROLLER
from engine.midi.rest_values import rest_of


class Positions:
    """By input index, as the messages that came in. Loop only."""

    def __init__(self) -> None:
        self._of: dict[int, dict[bytes, bytes]] = {}

    def note(self, source: int, place: bytes, message: bytes) -> None:
        """This came in, and moved what `place` names (see `position_of`)."""
        positions = self._of.setdefault(source, {})
        positions[place] = message
        if message[0] & 0xF0 == CONTROLLER and message[1] in LSB_OF:
            positions.pop(bytes((message[0], LSB_OF[message[1]])), None)  # MIDI 1.0 p. 12

    def lose(self, source: int, place: bytes) -> None:
        """A control has taken what moved this: it is a command now, and no longer a value."""
        self._of.get(source, {}).pop(place, None)

    def reset(self, source: int, channel: int) -> None:
        """This input has reset all controllers of a channel, 0 to 15 (RP-015): they are not known to be off rest."""
        positions = self._of.get(source, {})
        for place, message in [*positions.items()]:
            if place[0] & 0x0F == channel and rest_of(message) is not None:
                del positions[place]

    def of(self, source: int) -> Iterable[bytes]:
        """The last message of everything of this input that was moved."""
        return self._of.get(source, {}).values()

    def known(self, source: int, message: bytes) -> bool:
        """Whether it is known where that is which this message moved."""
        return position_of(message) in self._of.get(source, {})

    def forget(self, source: int) -> None:
        """Nothing is known of this input any more."""
        self._of.pop(source, None)
