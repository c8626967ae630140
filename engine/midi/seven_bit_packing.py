"""Packs bytes of eight bits into bytes of seven, as SysEx can carry them.

Source: MIDI 1.0 Detailed Specification 4.2.1, p. 43 (File Dump): seven bytes become eight, the first of which holds
their high bits (bit 6 is that of the first byte). A last group may be shorter.
"""

from typing import Final

_GROUP: Final = 7


def pack(data: bytes) -> bytes:
    """Any bytes as 7-bit bytes: 7 become 8, 64 become 74."""
    packed = bytearray()
    for start in range(0, len(data), _GROUP):
        group = data[start : start + _GROUP]
        packed.append(sum(byte >> 7 << 6 - place for place, byte in enumerate(group)))
        packed += bytes(byte & 0x7F for byte in group)
    return bytes(packed)


def unpack(packed: bytes) -> bytes:
    """The bytes that `pack` was given. Raises ValueError for bytes that it never makes."""
    if len(packed) % (_GROUP + 1) == 1 or any(byte > 0x7F for byte in packed):
        raise ValueError("7-bit bytes in groups of eight, the last of at least two")
    data = bytearray()
    for start in range(0, len(packed), _GROUP + 1):
        high, *group = packed[start : start + _GROUP + 1]
        if high & (1 << _GROUP - len(group)) - 1:
            raise ValueError("high bits for bytes that are there")
        data += bytes(byte | (high >> 6 - place & 1) << 7 for place, byte in enumerate(group))
    return bytes(data)
