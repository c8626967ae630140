"""Turns the bytes of a cable into whole messages.

Rules of the receiver's running-status buffer: MIDI 1.0 p. A-2; of real-time bytes inside anything: p. 5 and Table VII
note 2; of an exclusive that another status byte ends: p. 29.
"""

import re

from engine.midi.kinds import DATA_BYTES, FIRST_REAL_TIME, SYSEX, SYSEX_END

LONGEST_SYSEX = 1 << 20
_PIECES = re.compile(rb"[\x00-\x7f]+|[\x80-\xff]")  # runs of data bytes, and each status by itself


class StreamParser:
    """The parser of one input. However the bytes are cut into pieces, it returns the same messages."""

    def __init__(self, longest: int = LONGEST_SYSEX) -> None:
        """`longest`: bytes of the longest SysEx that is kept; a longer one is discarded, and counted."""
        self.repairs = 0  # broken pieces that were repaired or discarded
        self._longest = longest
        self._status = 0  # the running status, or the status of the system common message under way; 0 is none
        self._want = 0  # data bytes that this status takes
        self._data = bytearray()
        self._begun = False  # part of a message has come, and not yet all of it
        self._sysex: bytearray | None = None
        self._overlong = False
        self._orphaned = False  # a run of data bytes without a status is one broken piece

    @property
    def open(self) -> bool:
        """Whether a SysEx has begun and not ended."""
        return self._sysex is not None

    def abandon(self) -> None:
        """Discard a SysEx that has stayed open for too long."""
        if self._sysex is not None:
            self._sysex = None
            self.repairs += 1

    def feed(self, data: bytes) -> list[bytes]:
        """The messages that these bytes complete, in order."""
        if self._is_one_message(data):
            return [data]
        messages: list[bytes] = []
        for piece in (data,) if self._sysex is None and SYSEX not in data else _PIECES.findall(data):
            if self._sysex is not None and piece[0] < 0x80:
                self._extend_sysex(piece)
                continue
            for byte in piece:
                if byte >= FIRST_REAL_TIME:
                    if DATA_BYTES[byte] is not None:  # F9 and FD are undefined: as if they were not there
                        messages.append(bytes((byte,)))
                elif byte >= 0x80:
                    self._take_status(byte, messages)
                else:
                    self._take_data(byte, messages)
        return messages

    def _is_one_message(self, data: bytes) -> bool:
        """Whether these are one whole channel message, the common case; it sets the running status as well."""
        if not 2 <= len(data) <= 3 or not 0x80 <= data[0] < SYSEX or self._begun or self._sysex is not None:
            return False
        if DATA_BYTES[data[0]] != len(data) - 1 or data[1] > 0x7F or data[-1] > 0x7F:
            return False
        self._status, self._want, self._orphaned = data[0], len(data) - 1, False
        return True

    def _take_status(self, byte: int, messages: list[bytes]) -> None:
        if self._sysex is not None:
            self._end_sysex(byte, messages)
        elif byte == SYSEX_END or self._begun:
            self.repairs += 1  # a lone F7, or a message that another one cut short
        self._data.clear()
        self._begun = self._orphaned = False
        self._status = 0
        if byte == SYSEX:
            self._sysex, self._overlong = bytearray((SYSEX,)), False
            return
        want = DATA_BYTES[byte]
        if want == 0:
            messages.append(bytes((byte,)))
        elif want is not None and want > 0:
            self._status, self._want, self._begun = byte, want, True

    def _end_sysex(self, byte: int, messages: list[bytes]) -> None:
        sysex, self._sysex = self._sysex, None
        assert sysex is not None
        if byte != SYSEX_END or self._overlong:
            self.repairs += 1
            return
        sysex.append(SYSEX_END)
        messages.append(bytes(sysex))

    def _extend_sysex(self, data: bytes) -> None:
        """The next data bytes of a SysEx: as many as there are at once, since a device may send megabytes."""
        assert self._sysex is not None
        room = max(0, self._longest - 1 - len(self._sysex))
        self._sysex += data[:room]
        self._overlong |= len(data) > room

    def _take_data(self, byte: int, messages: list[bytes]) -> None:
        if not self._status:
            self.repairs += not self._orphaned
            self._orphaned = True
            return
        self._data.append(byte)
        self._begun = len(self._data) < self._want
        if not self._begun:
            messages.append(bytes((self._status, *self._data)))
            self._data.clear()
            if self._status >= SYSEX:  # only channel messages leave a running status behind
                self._status = 0
