"""Packs numbers and bytes in as few bytes as possible, for what the machines of one show send each other.

A number is seven bits a byte, the least first, the high bit set on all but the last; bytes follow their length.
"""

from typing import Final

#: bytes of one number at most: 64 bits
_LONGEST: Final = 10


class Packer:
    """Appends values to `data`."""

    def __init__(self) -> None:
        self.data = bytearray()

    def number(self, value: int) -> None:
        """A whole number from 0 to 2^64 - 1."""
        data = self.data
        while value > 0x7F:
            data.append(value & 0x7F | 0x80)
            value >>= 7
        data.append(value)

    def octets(self, value: bytes) -> None:
        """Any bytes."""
        self.number(len(value))
        self.data += value


class Unpacker:
    """Reads what a Packer wrote, in the same order. Raises ValueError where it ends too early or makes no sense."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def number(self) -> int:
        """The next number."""
        value, data, start = 0, self._data, self._at
        if start < len(data) and data[start] < 0x80:  # nearly all are that small
            self._at = start + 1
            return data[start]
        for place, byte in enumerate(data[start : start + _LONGEST]):
            value |= (byte & 0x7F) << 7 * place
            if byte < 0x80:
                self._at = start + place + 1
                return value
        raise ValueError("a number has no end")

    def octets(self) -> bytes:
        """The next bytes."""
        length = self.number()
        end = self._at + length
        if end > len(self._data):
            raise ValueError("bytes are missing at the end")
        found, self._at = self._data[self._at : end], end
        return found

    @property
    def more(self) -> bool:
        """Whether anything is left."""
        return self._at < len(self._data)
