"""An MPE zone that becomes one channel: all notes play, and one of them says how the channel is bent and pressed."""

from collections.abc import Iterable
from typing import NamedTuple

from engine.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    LOCAL_CONTROL,
    MODE_MESSAGES,
    RESET_ALL_CONTROLLERS,
    VELOCITY_PREFIX,
)
from engine.midi.kinds import CONTROLLER, NOTE_OFF, POLY_AFTERTOUCH, is_press
from engine.midi.mpe import Expression, Reaches, Zone, bend_of, expressions, rescaled

_RESTING = Expression()


class _Note(NamedTuple):
    """A note whose key is down; `member` may be the manager channel, too."""

    member: int
    key: int


class ZoneToChannel:
    """Channels are 1 to 16, ranges of bends in semitones."""

    def __init__(
        self,
        zone: Zone,
        reach: Reaches,
        channel: int,
        goes: int,
        note: str,
        by_keys: bool,
        positions: Iterable[bytes],
    ) -> None:
        """`reach`, `goes`: how far bends of the zone and of the channel reach; `note`: whose bend counts; `by_keys`:
        whether each member's pressure becomes that of its keys; `positions`: the last message of everything of the
        input that was moved."""
        self._zone, self._reach, self._channel, self._goes, self._note = zone, reach, channel, goes, note
        self._by_keys = by_keys
        self._came = dict.fromkeys(zone.channels, _RESTING) | expressions(positions)
        self._down: list[_Note] = []  # oldest press first
        self._sent = _RESTING

    def play(self, message: bytes, now: int) -> tuple[bytes, ...]:
        """What becomes of a channel message of the zone."""
        member, kind = (message[0] & 0x0F) + 1, message[0] & 0xF0
        if kind & 0xE0 == NOTE_OFF:
            return self._play_note(_Note(member, message[1]), message)
        moved = self._came[member].moved(message)
        if moved is not None:
            pressed = self._by_keys and moved.pressure != self._came[member].pressure
            self._came[member] = moved
            return (*self._shaped(), *(self._key_pressures(member) if pressed else ()))
        if member == self._zone.manager:
            return self._play_common(message)
        return self._end(member, message)

    def _play_note(self, note: _Note, message: bytes) -> tuple[bytes, ...]:
        """What shapes a note comes before its press, and what shapes the others after a release."""
        moved = self._moved(message)
        if is_press(message):
            self._down.append(note)
            pressed = self._key_pressures(note.member) if self._by_keys and self._came[note.member].pressure else ()
            return (*(self._shaped() if self._leading() == note else ()), moved, *pressed)
        if note not in self._down:
            return (moved,)
        self._down.remove(note)
        return (moved, *self._shaped())

    def _leading(self) -> _Note | None:
        """The note that shapes the channel."""
        if not self._down or self._note == "last":
            return self._down[-1] if self._down else None
        return (max if self._note == "highest" else min)(self._down, key=lambda note: note.key)

    def _shaped(self) -> tuple[bytes, ...]:
        """What brings the channel to the bend, timbre and pressure of the leading note and the manager."""
        leading = self._leading()
        own = self._came[leading.member] if leading and leading.member != self._zone.manager else _RESTING
        common = self._came[self._zone.manager]
        offset = rescaled(own.bend, self._reach.member, self._goes)
        offset += rescaled(common.bend, self._reach.manager, self._goes)
        timbre = own.timbre if own.timbre is not None else common.timbre
        if timbre is None:
            timbre = self._sent.timbre  # it stays where the last note left it
        pressure = common.pressure if self._by_keys else max(own.pressure, common.pressure)
        after = Expression(bend_of(offset), timbre, pressure)
        before, self._sent = self._sent, after
        return after.messages(self._channel, before)

    def _key_pressures(self, member: int) -> tuple[bytes, ...]:
        """The pressure of a member as that of all its keys; that of the manager is the channel's."""
        if member == self._zone.manager:
            return ()
        status, pressure = POLY_AFTERTOUCH | self._channel - 1, self._came[member].pressure
        return tuple(bytes((status, note.key, pressure)) for note in self._down if note.member == member)

    def _moved(self, message: bytes) -> bytes:
        """The same message on the channel."""
        return bytes((message[0] & 0xF0 | self._channel - 1,)) + message[1:]

    def _play_common(self, message: bytes) -> tuple[bytes, ...]:
        """What the manager sends passes; mode messages end or reset what they end or reset at the receiver, too."""
        if message[0] & 0xF0 == CONTROLLER and message[1] in MODE_MESSAGES:
            if message[1] == RESET_ALL_CONTROLLERS:  # the timbre stays (RP-015)
                self._came = {channel: came.at_rest() for channel, came in self._came.items()}
                self._sent = self._sent.at_rest()
            elif message[1] != LOCAL_CONTROL:
                self._down.clear()
        return (self._moved(message), *self._shaped())

    def _end(self, member: int, message: bytes) -> tuple[bytes, ...]:
        """What else a member sends counts only if it belongs to its own notes."""
        kind, number = message[0] & 0xF0, message[1]
        if kind == POLY_AFTERTOUCH or (kind == CONTROLLER and number == VELOCITY_PREFIX):
            return (self._moved(message),)
        if kind == CONTROLLER and number == RESET_ALL_CONTROLLERS:
            self._came[member] = self._came[member].at_rest()
            return self._shaped()
        if kind != CONTROLLER or number not in (ALL_SOUND_OFF, ALL_NOTES_OFF):
            return ()
        ended = [note for note in self._down if note.member == member]
        self._down = [note for note in self._down if note.member != member]
        offs = (bytes((NOTE_OFF | self._channel - 1, note.key, 64)) for note in ended)
        return (*offs, *self._shaped())
