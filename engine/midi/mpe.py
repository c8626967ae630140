"""MPE: zones of channels, each note with a channel of its own, and how far a bend reaches.

Source: MIDI Polyphonic Expression, M1-100-UM v1.1 (RP-053 v1.0).
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND

CENTRE: Final = 8192
TIMBRE: Final = 74
TIMBRE_CENTRE: Final = 64
#: semitones that a bend on a manager channel reaches, and one on a member channel, unless they are set otherwise
MANAGER_RANGE, MEMBER_RANGE = 2, 48
#: the manager channels of the lower and of the upper zone
LOWER_MANAGER, UPPER_MANAGER = 1, 16

_TOP: Final = 16383


class Zone(NamedTuple):
    """Channels 1 to 16: the members, first to last, and the manager, whose messages concern all notes of the zone."""

    first: int
    last: int
    manager: int

    @property
    def members(self) -> range:
        """The member channels."""
        return range(self.first, self.last + 1)

    @property
    def channels(self) -> tuple[int, ...]:
        """The manager, then the members."""
        return self.manager, *self.members


class Reaches(NamedTuple):
    """How many semitones bends reach: those of members, or of one channel that is no zone, and those of the manager."""

    member: int
    manager: int


def zone(first: int, last: int) -> Zone:
    """The lower zone begins at channel 2 and has manager 1, the upper one ends at 15 and has manager 16.

    Raises ValueError for other members.
    """
    if first == 2:
        return Zone(first, last, LOWER_MANAGER)
    if last == 15:
        return Zone(first, last, UPPER_MANAGER)
    raise ValueError("the members of a lower zone, which begin at 2, or of an upper zone, which end at 15")


def rescaled(bend: int, came: int, goes: int) -> float:
    """How far from the centre a bend of 0 to 16383 must be that reaches `came` semitones where it comes from and `goes`
    where it goes to."""
    return (bend - CENTRE) * came / goes


def bend_of(offset: float) -> int:
    """The nearest bend so far from the centre; what is out of reach is an end of the travel."""
    return min(_TOP, max(0, CENTRE + round(offset)))


class Expression(NamedTuple):
    """What shapes the notes of a channel: bend 0 to 16383, timbre and pressure 0 to 127; None was never set."""

    bend: int = CENTRE
    timbre: int | None = None
    pressure: int = 0

    def messages(self, channel: int, sent: "Expression | None") -> tuple[bytes, ...]:
        """What brings a channel here from what it was last sent, in the standard's order; None is not known."""
        low = channel - 1
        changes = []
        if sent is None or sent.bend != self.bend:
            changes.append(bytes((PITCH_BEND | low, self.bend & 0x7F, self.bend >> 7)))
        if self.timbre is not None and (sent is None or sent.timbre != self.timbre):
            changes.append(bytes((CONTROLLER | low, TIMBRE, self.timbre)))
        if sent is None or sent.pressure != self.pressure:
            changes.append(bytes((AFTERTOUCH | low, self.pressure)))
        return tuple(changes)

    def at_rest(self) -> "Expression":
        """This after Reset All Controllers, which leaves the timbre alone (RP-015)."""
        return Expression(timbre=self.timbre)

    def moved(self, message: bytes) -> "Expression | None":
        """This after a message of its channel; None if it is not such a message."""
        kind = message[0] & 0xF0
        if kind == PITCH_BEND:
            return self._replace(bend=message[2] << 7 | message[1])
        if kind == AFTERTOUCH:
            return self._replace(pressure=message[1])
        if kind == CONTROLLER and message[1] == TIMBRE:
            return self._replace(timbre=message[2])
        return None


def expressions(positions: Iterable[bytes]) -> dict[int, Expression]:
    """By channel (1 to 16), what these messages, the last of everything that was moved, have made of it."""
    found: dict[int, Expression] = {}
    for message in positions:
        channel = (message[0] & 0x0F) + 1
        moved = found.get(channel, Expression()).moved(message)
        if moved is not None:
            found[channel] = moved
    return found
