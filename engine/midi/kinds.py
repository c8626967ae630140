"""The kinds of message of MIDI 1.0, as one table.

Source: MIDI 1.0 Detailed Specification 4.2.1, Tables I to VII.
A message is `bytes`: a status byte and its data, without running status.
"""

from typing import Final, NamedTuple

Message = bytes


class Kind(NamedTuple):
    """One row of the table: `status` is the first byte, without the channel."""

    status: int
    name: str
    data_bytes: int  # -1: any number, ended by F7


KINDS: Final = (
    Kind(0x80, "note_off", 2),
    Kind(0x90, "note_on", 2),
    Kind(0xA0, "poly_aftertouch", 2),
    Kind(0xB0, "controller", 2),
    Kind(0xC0, "program", 1),
    Kind(0xD0, "aftertouch", 1),
    Kind(0xE0, "pitch_bend", 2),
    Kind(0xF0, "sysex", -1),
    Kind(0xF1, "timecode", 1),
    Kind(0xF2, "song_position", 2),
    Kind(0xF3, "song_select", 1),
    Kind(0xF6, "tune_request", 0),
    Kind(0xF8, "clock", 0),
    Kind(0xFA, "start", 0),
    Kind(0xFB, "continue", 0),
    Kind(0xFC, "stop", 0),
    Kind(0xFE, "active_sensing", 0),
    Kind(0xFF, "reset", 0),
)

NOTE_OFF: Final = 0x80
NOTE_ON: Final = 0x90
POLY_AFTERTOUCH: Final = 0xA0
CONTROLLER: Final = 0xB0
PROGRAM: Final = 0xC0
AFTERTOUCH: Final = 0xD0
PITCH_BEND: Final = 0xE0
SYSEX: Final = 0xF0
SYSEX_END: Final = 0xF7
FIRST_REAL_TIME: Final = 0xF8
ACTIVE_SENSING: Final = 0xFE

_BY_STATUS: Final = {kind.status: kind for kind in KINDS}

#: data bytes after each status byte; -1 for SysEx, None where MIDI 1.0 defines no message
DATA_BYTES: Final[tuple[int | None, ...]] = tuple(
    _BY_STATUS[base].data_bytes if (base := status & 0xF0 if status < 0xF0 else status) in _BY_STATUS else None
    for status in range(256)
)
#: the length of a whole message by its first byte, 0 where none begins
_ANY: Final = 255
_LENGTHS: Final = bytes(0 if want is None else _ANY if want < 0 else 1 + want for want in DATA_BYTES)


def kind_of(message: Message) -> Kind:
    """The row of a whole message. A note-on of velocity 0 is still "note_on" here: see `is_release`."""
    status = message[0]
    return _BY_STATUS[status & 0xF0 if status < 0xF0 else status]


def is_press(message: Message) -> bool:
    """A note-on that starts a sound (velocity above 0)."""
    return message[0] & 0xF0 == NOTE_ON and message[2] > 0


def is_release(message: Message) -> bool:
    """A note-off, or the note-on of velocity 0 that means the same (MIDI 1.0 p. 10)."""
    status = message[0] & 0xF0
    return status == NOTE_OFF or (status == NOTE_ON and message[2] == 0)


def is_whole(message: Message) -> bool:
    """Whether these bytes are exactly one message: status, the right number of data bytes, all 7-bit."""
    length = _LENGTHS[message[0]] if message else 0
    if length == 3:
        return len(message) == 3 and message[1] < 0x80 and message[2] < 0x80
    if length == _ANY:
        return message[-1] == SYSEX_END and len(message) >= 2 and message[1:-1].isascii()
    return 0 < length == len(message) and message[1:].isascii()
