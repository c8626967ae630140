"""Turns a rig file into numbered blocks of SysEx that a sequencer or a data recorder can hold, and back again.

Each block has its number, the number of blocks, and the checksum of the whole. So blocks may arrive in any order, more
than once and from several takes, and only a complete text is accepted. The bytes: DEVELOPERS.md, "Our own SysEx".
"""

import zlib
from typing import Final, NamedTuple

from engine.core.control.remote_messages import BLOCK, HEAD, number, own, read_own, seven
from engine.midi.byte_stream import StreamParser
from engine.midi.seven_bit_packing import pack, unpack

LONGEST_BLOCK: Final = 256  # bytes on the cable
LONGEST_TEXT: Final = 1 << 24  # bytes of UTF-8; far beyond any rig, and a limit on what a corrupted dump can unpack to

_FORMAT: Final = 0x01
_COMMAND: Final = len(HEAD) + 1  # its place in a message; the data follow
_NUMBER: Final = slice(1, 3)
_WHOLE: Final = slice(3, 14)  # count, length and CRC-32 of the whole
_CHECK: Final = slice(14, 19)  # CRC-32 of this block
_COUNT, _LENGTH, _SUM = slice(0, 2), slice(2, 6), slice(6, 11)  # within the whole
_ROOM: Final = (LONGEST_BLOCK - _COMMAND - 1 - _CHECK.stop - 2) // 8 * 7  # bytes of the compressed text in one block
_MOST: Final = (1 << 14) - 1


class DumpProgress(NamedTuple):
    """How much of a dump has arrived; `news` says what became of the last message."""

    here: int
    total: int  # 0 as long as no block has arrived
    missing: tuple[int, ...]
    taken: bool  # whether the last message was a valid block of this dump
    news: str

    @property
    def text(self) -> str:
        """The news, and what is missing."""
        if not self.missing:
            return self.news
        noun, verb = ("block", "is") if len(self.missing) == 1 else ("blocks", "are")
        return f"{self.news}; {noun} {_in_words(self.missing)} of {self.total} {verb} missing"


def blocks(text: str, device: int) -> list[bytes]:
    """The messages that hold a text. Raises ValueError if it is too long or UTF-8 cannot encode it."""
    raw = text.encode()
    stored = zlib.compress(raw, 9)
    count = -(-len(stored) // _ROOM)
    if len(raw) > LONGEST_TEXT or count > _MOST:
        raise ValueError(f"a backup over MIDI holds at most {LONGEST_TEXT} bytes in {_MOST} blocks; this rig is longer")
    whole = seven(count, 2) + seven(len(raw), 4) + seven(zlib.crc32(raw), 5)
    return [_block(device, place + 1, whole, stored[place * _ROOM : (place + 1) * _ROOM]) for place in range(count)]


class DumpCollector:
    """Puts one dump together. Its first valid block says which dump it is."""

    def __init__(self) -> None:
        self._whole = b""
        self._parts: dict[int, bytes] = {}

    def take(self, message: bytes) -> DumpProgress | str:
        """Take one message: the whole text if that completes it, else the progress. Other messages change nothing."""
        block = _read_block(message)
        if isinstance(block, str):
            return self.progress(block)
        self._whole = self._whole or block.whole
        if block.whole != self._whole:
            return self.progress(f"block {block.number} belongs to another backup and is ignored")
        self._parts[block.number] = block.part
        return self.progress(f"block {block.number} received", taken=True) if self._missing() else self._together()

    def _missing(self) -> tuple[int, ...]:
        return tuple(place for place in range(1, number(self._whole[_COUNT]) + 1) if place not in self._parts)

    def progress(self, news: str, taken: bool = False) -> DumpProgress:
        """How much of the dump has arrived, with this as the news."""
        return DumpProgress(len(self._parts), number(self._whole[_COUNT]), self._missing(), taken, news)

    def _together(self) -> DumpProgress | str:
        """The text; if the blocks do not match the checksum of the whole, all of them are discarded."""
        text = _text_of(b"".join(self._parts[place] for place in sorted(self._parts)), self._whole)
        if text is not None:
            return text
        self._whole, self._parts = b"", {}
        return self.progress("all blocks arrived, but together they do not match what was sent; send all of them again")


def from_syx(data: bytes) -> str:
    """The text in the bytes of a .syx file. Raises ValueError with a sentence about what is corrupted or missing."""
    messages = [message for message in StreamParser().feed(data) if _is_block(message)]
    if not messages:
        raise ValueError("this file holds no block of a backup")
    if len({block.whole for block in map(_read_block, messages) if not isinstance(block, str)}) > 1:
        raise ValueError("this file holds blocks of more than one backup; put each in a separate file")
    collector = DumpCollector()
    faults: list[str] = []
    for message in messages:
        said = collector.take(message)
        if isinstance(said, str):
            return said
        if not said.taken:
            faults.append(said.news)
    raise ValueError("; ".join((*faults, collector.progress("this backup is not complete").text)))


# One block


class _Block(NamedTuple):
    number: int
    whole: bytes  # count, length and CRC-32: the same in all blocks of a dump
    part: bytes


def _is_block(message: bytes) -> bool:
    """Whether this is a block, corrupted or not."""
    return message.startswith(HEAD) and message[_COMMAND : _COMMAND + 1] == bytes((BLOCK,))


def _block(device: int, place: int, whole: bytes, part: bytes) -> bytes:
    head = bytes((_FORMAT,)) + seven(place, 2) + whole
    packed = pack(part)
    return own(device, BLOCK, head + seven(zlib.crc32(head + packed), 5) + packed)


def _read_block(message: bytes) -> _Block | str:
    """The block in a message, or the reason why it cannot be read."""
    if not _is_block(message):
        return "that was not a block of a backup"
    data = message[_COMMAND + 1 : -2]
    place = number(data[_NUMBER])
    head, check, packed = data[: _CHECK.start], data[_CHECK], data[_CHECK.stop :]
    if read_own(message) is None or not packed or number(check) != zlib.crc32(head + packed):
        return f"block {place} arrived corrupted" if place else "a block arrived corrupted"
    if head[0] != _FORMAT:
        return f"block {place} has format {head[0]}; this Bayleaf reads format {_FORMAT}"
    whole = head[_WHOLE]
    try:
        part = unpack(packed)
    except ValueError:
        return f"block {place} is not packed in Bayleaf's format"
    if not 1 <= place <= number(whole[_COUNT]):
        return f"block {place} of {number(whole[_COUNT])} does not exist"
    return _Block(place, whole, part)


def _text_of(stored: bytes, whole: bytes) -> str | None:
    """The text that these parts hold; None if they do not match its length and checksum."""
    length = number(whole[_LENGTH])
    if length > LONGEST_TEXT:
        return None
    try:
        raw = zlib.decompressobj().decompress(stored, length + 1)
        return raw.decode() if len(raw) == length and zlib.crc32(raw) == number(whole[_SUM]) else None
    except (zlib.error, UnicodeDecodeError):
        return None


def _in_words(places: tuple[int, ...]) -> str:
    """ "3", "3 and 4", "3 to 9, 12 and 14"."""
    spans: list[list[int]] = []
    for place in places:
        if spans and place == spans[-1][-1] + 1:
            spans[-1].append(place)
        else:
            spans.append([place])
    words: list[str] = []
    for span in spans:
        words += [f"{span[0]} to {span[-1]}"] if len(span) > 2 else map(str, span)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
