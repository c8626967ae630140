"""Where the pedals, wheels and faders of each input really are, as far as they have been moved."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Final

from engine.core.routing.sent_values import position_of
from engine.midi.controllers import MSB_OF, ON_FROM
from engine.midi.kinds import CONTROLLER
from engine.midi.rest_values import rest_of

#: what names an LSB -> what names its MSB, which sets it to 0 when it moves (MIDI 1.0 p. 12)
_HIGH_OF: Final = {
    bytes((CONTROLLER | channel, low)): bytes((CONTROLLER | channel, high))
    for channel in range(16)
    for low, high in MSB_OF.items()
}


class Positions:
    """As the messages that came in. Loop only. `places`: by input index, and by what `position_of` names."""

    def __init__(self) -> None:
        self.places: defaultdict[int, dict[bytes, bytes]] = defaultdict(dict)
        self._under: dict[tuple[int, bytes], bytes | None] = {}  # by input and LSB, the MSB under which it was set

    def note(self, source: int, place: bytes, message: bytes) -> None:
        """This came in, and moved what `place` names (see `position_of`)."""
        self.places[source][place] = message
        if place in _HIGH_OF:
            self._under[source, place] = self.places[source].get(_HIGH_OF[place])

    def lose(self, source: int, place: bytes) -> None:
        """A control has taken what moved this: it is a command now, and no longer a value."""
        self.places[source].pop(place, None)

    def reset(self, source: int, channel: int) -> None:
        """This input has reset all controllers of a channel, 0 to 15 (RP-015)."""
        positions = self.places[source]
        for place, message in positions.items():
            rest = rest_of(message)
            if place[0] & 0x0F == channel and rest is not None and rest[: len(place)] == place:
                positions[place] = rest

    def of(self, source: int) -> Iterable[bytes]:
        """The last message of everything of this input that was moved, an MSB before its LSB."""
        positions = self.places[source]
        return [
            message
            for place, message in sorted(positions.items())
            if place not in _HIGH_OF or self._under[source, place] == positions.get(_HIGH_OF[place])
        ]

    def moved(self) -> set[int]:
        """The inputs of which anything was moved."""
        return {source for source, places in self.places.items() if places}

    def count(self, source: int) -> int:
        """How many things of this input were moved."""
        return len(self.places[source])

    def known(self, source: int, message: bytes) -> bool:
        """Whether it is known where that is which this message moved."""
        return position_of(message) in self.places[source]

    def is_up(self, source: int, pedal: bytes) -> bool:
        """Whether a pedal, which this message has moved, is up now, as far as it is known."""
        last = self.places[source].get(position_of(pedal))
        return last is None or last[-1] < ON_FROM

    def forget_all(self) -> None:
        """Nothing is known of any input any more."""
        self.places.clear()
        self._under.clear()

    def forget(self, source: int) -> None:
        """Nothing is known of this input any more."""
        self.places.pop(source, None)
