"""Checksums of the dumps that the standard defines.

Source: MIDI 1.0 Detailed Specification 4.2.1, sample dump data packet (p. 36) and file dump data packet; both carry the
exclusive or of all bytes between F0 and the checksum. Other SysEx has a checksum of its maker's own, if any.
"""

from collections.abc import Sequence
from functools import reduce
from operator import xor
from typing import Final

_SAMPLE_PACKET: Final = 127  # bytes of a packet, from F0 to F7
_SHORTEST_FILE_PACKET: Final = 9


def first_damaged(messages: Sequence[bytes]) -> int | None:
    """The index of the first packet with a wrong checksum; None if there is none."""
    return next(
        (place for place, message in enumerate(messages) if _is_packet(message) and not _is_right(message)), None
    )


def _is_packet(message: bytes) -> bool:
    if message[:2] != b"\xf0\x7e":
        return False
    sample = len(message) == _SAMPLE_PACKET and message[3] == 0x02
    return sample or (message[3:5] == b"\x07\x02" and len(message) >= _SHORTEST_FILE_PACKET)


def _is_right(message: bytes) -> bool:
    return reduce(xor, message[1:-2]) & 0x7F == message[-2]
