"""The handshake of the universal Sample Dump and File Dump, for sending one dump (MIDI 1.0, the chapters on both).

ACK: send the next packet; NAK: send it again; WAIT: nothing until another answer; CANCEL: stop. The packet number in an
answer must be that of the packet it answers; messages without a packet number accept any answer.

The standard allows a sender that gets no answer to go on without a handshake. Here a handshake is asked for only if the
device needs it, so silence stops the dump: what was not acknowledged may not have arrived.
"""

from enum import Enum
from typing import Final

from engine.midi.kinds import SYSEX, SYSEX_END

ACK: Final = 0x7F
NAK: Final = 0x7E
CANCEL: Final = 0x7D
WAIT: Final = 0x7C

PATIENCE: Final = 2_000_000_000  # ns; as long as the standard gives the receiver of a Sample Dump header
_TRIES: Final = 3  # per packet (common practice, no source)
_UNIVERSAL: Final = 0x7E
_SAMPLE_PACKET: Final = 0x02
_FILE_DUMP: Final = 0x07
_FILE_PACKET: Final = 0x02


class HandshakeVerdict(Enum):
    """What the sender must do now."""

    PENDING = "wait for an answer"
    NEXT = "send the next message"
    AGAIN = "send the same message again"
    CANCELLED = "the instrument cancelled the dump"
    REFUSED = "the instrument refused the message three times"
    SILENT = "the instrument did not answer"


def answer(kind: int, device: int, packet: int) -> bytes:
    """An answer to the packet with this number (0 to 127)."""
    return bytes((SYSEX, _UNIVERSAL, device, kind, packet, SYSEX_END))


def packet_number(message: bytes) -> int | None:
    """The number of a Sample Dump or File Dump data packet; None for any other message."""
    if message[:2] != bytes((SYSEX, _UNIVERSAL)) or len(message) < 7:
        return None
    if message[3] == _SAMPLE_PACKET:
        return message[4]
    return message[5] if message[3] == _FILE_DUMP and message[4] == _FILE_PACKET else None


def read_answer(message: bytes) -> tuple[int, int] | None:
    """Kind and packet number of an answer, or None."""
    if len(message) != 6 or message[:2] != bytes((SYSEX, _UNIVERSAL)) or message[-1] != SYSEX_END:
        return None
    return (message[3], message[4]) if WAIT <= message[3] <= ACK else None


class Handshake:
    """The state of the handshake, one message at a time; times are ns of any clock."""

    def __init__(self, patience: int = PATIENCE) -> None:
        """`patience`: ns without an answer after which the instrument counts as silent."""
        self._patience = patience
        self._packet: int | None = None
        self._until: int | None = None
        self._tries = 0
        self._verdict = HandshakeVerdict.NEXT

    def sent(self, now: int, message: bytes) -> None:
        """Note that the last byte of this message is on the cable at `now`."""
        again = self._verdict is HandshakeVerdict.AGAIN
        self._tries = self._tries + 1 if again else 1
        self._packet = packet_number(message)
        self._until = now + self._patience
        self._verdict = HandshakeVerdict.PENDING

    def hear(self, message: bytes) -> None:
        """Take a message that came in while an answer is awaited; messages that are not an answer change nothing."""
        said = read_answer(message)
        if said is None or self._verdict is not HandshakeVerdict.PENDING:
            return
        kind, packet = said
        if kind == CANCEL:
            self._verdict = HandshakeVerdict.CANCELLED
        elif self._packet is not None and packet != self._packet:
            return
        elif kind == ACK:
            self._verdict = HandshakeVerdict.NEXT
        elif kind == NAK:
            self._verdict = HandshakeVerdict.AGAIN if self._tries < _TRIES else HandshakeVerdict.REFUSED
        else:
            self._until = None  # the standard sets no limit; the player can stop the dump

    def verdict(self, now: int) -> HandshakeVerdict:
        """What the sender must do at this time."""
        if self._verdict is HandshakeVerdict.PENDING and self._until is not None and now >= self._until:
            self._verdict = HandshakeVerdict.SILENT
        return self._verdict
