"""Turns a rig file into numbered blocks of SysEx that a sequencer or a data recorder can hold, and back again.

Each block has its number, the number of blocks, and the checksum of the whole. So blocks may arrive in any order, more
than once and from several takes, and only a complete text is accepted. The bytes: DEVELOPERS.md, "Our own SysEx".
"""

import zlib
from typing import Final, NamedTuple

from engine.core.control.remote_messages import BLOCK, HEAD, LONGEST_REQUEST, number, own, read_own, seven
from engine.midi.byte_stream import StreamParser
from engine.midi.seven_bit_packing import pack, unpack
from engine.rig.read.toml_limits import LONGEST_TEXT

_FORMAT: Final = 0x01
_COMMAND: Final = len(HEAD) + 1  # its place in a message; the data follow
_NUMBER: Final = slice(1, 3)
_WHOLE: Final = slice(3, 14)  # count, length and CRC-32 of the whole
_CHECK: Final = slice(14, 19)  # CRC-32 of this block
_COUNT, _LENGTH, _SUM = slice(0, 2), slice(2, 6), slice(6, 11)  # within the whole
_ROOM: Final = (LONGEST_REQUEST - _COMMAND - 1 - _CHECK.stop - 2) // 8 * 7  # bytes of the compressed text in one block
_MOST: Final = (1 << 14) - 1
_MOST_GAPS: Final = 20  # that are named


class BlockNews(NamedTuple):
    """What became of a message: whether it was a valid block of this dump, and a sentence about it."""

    taken: bool
    text: str


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
    """Puts one dump together. Its first valid block says which dump it is.

    However many blocks there are, taking one costs the same.
    """

    def __init__(self) -> None:
        self._whole = b""
        self._parts: dict[int, bytes] = {}

    @property
    def total(self) -> int:
        """How many blocks the dump has; 0 as long as none has arrived."""
        return number(self._whole[_COUNT])

    @property
    def here(self) -> int:
        """How many of them have arrived."""
        return len(self._parts)

    @property
    def complete(self) -> bool:
        """Whether all have arrived."""
        return 0 < self.total == self.here

    def take(self, message: bytes) -> BlockNews:
        """Take one message. All but the blocks of this dump change nothing."""
        block = _read_block(message)
        if isinstance(block, str):
            return BlockNews(False, block)
        self._whole = self._whole or block.whole
        if block.whole != self._whole:
            return BlockNews(False, f"block {block.number} belongs to another backup and is ignored")
        self._parts[block.number] = block.part
        return BlockNews(True, f"block {block.number} received")

    def text(self) -> str:  # in the worker process
        """The text of a complete dump. Takes time. Raises ValueError, with a sentence."""
        text = _text_of(b"".join(self._parts[place] for place in sorted(self._parts)), self._whole)
        if text is None:
            raise ValueError("all blocks arrived, but together they do not match what was sent; send all of them again")
        return text

    def and_missing(self, news: str) -> str:
        """The news, and which blocks have not arrived; only the first of many gaps are named."""
        count = self.total - self.here
        if not count:
            return news
        noun, verb = ("block", "is") if count == 1 else ("blocks", "are")
        return f"{news}; {noun} {self._missing(count)} of {self.total} {verb} missing"

    def _missing(self, count: int) -> str:
        """ "3", "3 and 4", "3 to 9, 12 and 14", "3, 5 and 120 more"."""
        gaps: list[tuple[int, int]] = []  # first and last block
        after = 1
        for here in (*sorted(self._parts), self.total + 1):
            if here > after:
                gaps.append((after, here - 1))
            after = here + 1
            if len(gaps) > _MOST_GAPS:
                break
        words: list[str] = []
        for first, last in gaps[:_MOST_GAPS]:
            words += [f"{first} to {last}"] if last > first + 1 else [str(place) for place in range(first, last + 1)]
            count -= last - first + 1
        if count:
            words.append(f"{count} more")
        return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def from_syx(data: bytes) -> str:
    """The text in the bytes of a .syx file. Raises ValueError with a sentence about what is corrupted or missing."""
    messages = [message for message in StreamParser().feed(data) if _is_block(message)]
    if not messages:
        raise ValueError("this file holds no block of a backup")
    if len({block.whole for block in map(_read_block, messages) if not isinstance(block, str)}) > 1:
        raise ValueError("this file holds blocks of more than one backup; put each in a separate file")
    collector = DumpCollector()
    faults = [news.text for news in map(collector.take, messages) if not news.taken]
    if collector.complete:
        return collector.text()
    raise ValueError("; ".join((*faults, collector.and_missing("this backup is not complete"))))


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
    if len(message) > LONGEST_REQUEST:
        return f"a block of {len(message)} bytes was ignored; a block has at most {LONGEST_REQUEST}"
    data = message[_COMMAND + 1 : -2]
    place = number(data[_NUMBER])
    head, check, packed = data[: _CHECK.start], data[_CHECK], data[_CHECK.stop :]
    if read_own(message) is None or not packed or number(check) != zlib.crc32(head + packed):
        return f"block {place} arrived corrupted" if place else "a block arrived corrupted"
    if head[0] != _FORMAT:
        return f"block {place} has format {head[0]}; this Bayleaf reads format {_FORMAT}"
    whole = head[_WHOLE]
    if number(whole[_LENGTH]) > LONGEST_TEXT:
        return f"block {place} is of a text of {number(whole[_LENGTH])} bytes; a backup has at most {LONGEST_TEXT}"
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
    try:
        raw = zlib.decompressobj().decompress(stored, length + 1)
        return raw.decode() if len(raw) == length and zlib.crc32(raw) == number(whole[_SUM]) else None
    except (zlib.error, UnicodeDecodeError):
        return None
