"""Notes of one channel, or of another MPE zone, that each get a member channel of a zone."""

from collections.abc import Iterable

from engine.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    LOCAL_CONTROL,
    MODE_MESSAGES,
    RESET_ALL_CONTROLLERS,
    VELOCITY_PREFIX,
)
from engine.midi.kinds import CONTROLLER, NOTE_OFF, PITCH_BEND, POLY_AFTERTOUCH, is_press
from engine.midi.mpe import Expression, Reaches, Zone, bend_of, expressions, rescaled
from filters._mpe_members import Members


class ToZone:
    """Channels are 1 to 16, ranges of bends in semitones."""

    def __init__(
        self,
        source: Zone | None,
        reach: Reaches,
        zone: Zone,
        goes: Reaches,
        members: Members,
        positions: Iterable[bytes],
    ) -> None:
        """`source`: None for one channel; `reach`, `goes`: how far bends reach at the source and in the zone;
        `positions`: the last message of everything of the input that was moved."""
        self._source, self._reach, self._zone, self._goes = source, reach, zone, goes
        self._members = members
        self._came = expressions(positions)  # by channel of the source
        self._key_pressures: dict[int, int] = {}  # by voice

    def play(self, message: bytes, now: int) -> tuple[bytes, ...]:
        """What becomes of a channel message of the source."""
        channel, kind = (message[0] & 0x0F) + 1, message[0] & 0xF0
        if self._source is not None and channel == self._source.manager:
            return self._play_common(message)
        voice = message[1] if self._source is None else channel
        if kind & 0xE0 == NOTE_OFF:
            return self._play_note(channel, voice, message)
        if kind == POLY_AFTERTOUCH:
            if not self._members.sounding(voice):
                return ()
            self._key_pressures[voice] = message[2]
            return self._shaped(channel, voice)
        moved = self._came.get(channel, Expression()).moved(message)
        if moved is not None:
            self._came[channel] = moved
            voices = self._members.voices() if self._source is None else [channel] * self._members.sounding(channel)
            return tuple(one for each in voices for one in self._shaped(channel, each))
        return self._play_common(message) if self._source is None else self._end(channel, message)

    def _play_note(self, channel: int, voice: int, message: bytes) -> tuple[bytes, ...]:
        """What shapes a note comes before its press."""
        if is_press(message):
            member = self._members.press(voice)
            return (*self._shaped(channel, voice, begins=True), _moved(message, member))
        member = self._members.release(voice)
        if not self._members.sounding(voice):
            self._key_pressures.pop(voice, None)
        return (_moved(message, member),)

    def _shaped(self, channel: int, voice: int, begins: bool = False) -> tuple[bytes, ...]:
        """What brings the member of a voice to its bend, timbre and pressure; `begins`: its note is about to."""
        came = self._came.get(channel, Expression())
        bend = bend_of(rescaled(came.bend, self._reach.member, self._goes.member))
        after = Expression(bend, came.timbre, max(came.pressure, self._key_pressures.get(voice, 0)))
        return self._members.shape(voice, after, begins)

    def _play_common(self, message: bytes) -> tuple[bytes, ...]:
        """What concerns all notes is the manager's."""
        if message[0] & 0xF0 == CONTROLLER and message[1] in MODE_MESSAGES:
            if message[1] == RESET_ALL_CONTROLLERS:  # what the members have is not known any more
                self._members.forget_shapes()
                self._came = {channel: came.at_rest() for channel, came in self._came.items()}
            elif message[1] != LOCAL_CONTROL:
                self._members.end()
        common = _moved(message, self._zone.manager)
        if message[0] & 0xF0 == PITCH_BEND and self._reach.manager != self._goes.manager:
            bend = bend_of(rescaled(message[2] << 7 | message[1], self._reach.manager, self._goes.manager))
            common = bytes((common[0], bend & 0x7F, bend >> 7))
        return (common,)

    def _end(self, channel: int, message: bytes) -> tuple[bytes, ...]:
        """What else a member of the source sends counts only if it belongs to its own notes."""
        if message[0] & 0xF0 == CONTROLLER and message[1] == RESET_ALL_CONTROLLERS:
            self._came[channel] = self._came.get(channel, Expression()).at_rest()
            return self._shaped(channel, channel) if self._members.sounding(channel) else ()
        if message[0] & 0xF0 == CONTROLLER and message[1] in (ALL_SOUND_OFF, ALL_NOTES_OFF, VELOCITY_PREFIX):
            return (_moved(message, self._members.of(channel)),)
        return ()


def _moved(message: bytes, channel: int) -> bytes:
    """The same message on another channel."""
    return bytes((message[0] & 0xF0 | channel - 1,)) + message[1:]
