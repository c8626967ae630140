"""An instrument written from the standards alone: it identifies itself, dumps and takes its memory, and reads slowly.

Sources: MIDI 1.0 Detailed Specification 4.2.1 p. 1 (320 us a byte), p. 40 (inquiry), Sample Dump and File Dump (ACK,
NAK, CANCEL, WAIT). The request for its memory is of our own making, under the non-commercial id 7D.
"""

from collections.abc import Sequence

INQUIRY = bytes.fromhex("F0 7E 7F 06 01 F7")
IDENTITY = bytes.fromhex("F0 7E 10 06 02 00 21 09 01 00 02 00 01 02 03 04 F7")
REQUEST = bytes.fromhex("F0 7D 11 F7")
BYTE_NS = 320_000


class Instrument:
    """Takes messages with the time (ns) at which they were sent; returns its answers."""

    def __init__(self, memory: Sequence[bytes] = (), swallow_ns: int = BYTE_NS, room: int = 256) -> None:
        """`swallow_ns`: its time to read a byte; what arrives while `room` bytes wait is dropped."""
        self.memory = list(memory)
        self.taken: list[bytes] = []
        self.dropped = 0
        self.script: list[str] = []  # its answer to each message it takes, in order; no handshake if empty
        self._swallow_ns = swallow_ns
        self._room_ns = room * swallow_ns
        self._free_at = 0

    def hear(self, at: int, message: bytes) -> list[bytes]:
        """Its answers to one message."""
        if message[0] >= 0xF8:
            return []
        begins = max(at, self._free_at)
        if begins - at > self._room_ns:
            self.dropped += 1
            return []
        self._free_at = begins + len(message) * self._swallow_ns
        if message == INQUIRY:
            return [IDENTITY]
        if message == REQUEST:
            return list(self.memory)
        if message[0] != 0xF0:
            return []
        said = self.script.pop(0) if self.script else ""
        if said != "NAK":
            self.taken.append(message)
        number = {"ACK": 0x7F, "NAK": 0x7E, "CANCEL": 0x7D, "WAIT": 0x7C}.get(said)
        return [] if number is None else [bytes((0xF0, 0x7E, 0x00, number, 0x00, 0xF7))]
