"""A rig file as blocks of SysEx, and back."""

import random
import re
import tracemalloc
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.strategies._internal.core import DataObject
from hypothesis.strategies._internal.random import ArtificialRandom

from engine.core.control.remote_messages import (
    LONGEST_REQUEST,
    RemoteReader,
    RemoteRequest,
    RemoteSettings,
    own,
    read_own,
    seven,
)
from engine.core.control.rig_dump import DumpCollector, blocks, from_syx
from engine.midi.kinds import is_whole
from engine.midi.seven_bit_packing import pack, unpack
from tests.support.counted_work import lines_run
from tests.support.paths import PRESETS

DEVICE = 5


def written(seed: int, lines: int = 160) -> str:
    """A rig-like text that hardly compresses, so that it fills several blocks."""
    chance = random.Random(seed)
    return "".join(f'[[scenes]]\nnumber = {line}\nname = "Nº {chance.random()}"\n' for line in range(1, lines))


TEXT = written(1)
BLOCKS = blocks(TEXT, DEVICE)
OTHER = blocks(written(2), DEVICE)


def collector_of(messages: list[bytes]) -> DumpCollector:
    """A collector that has taken these."""
    collector = DumpCollector()
    for message in messages:
        collector.take(message)
    return collector


def missing(collector: DumpCollector) -> str:
    """Which blocks have not arrived, in words."""
    return collector.and_missing("").removeprefix("; ")


def test_there_are_several_blocks() -> None:
    """The texts of these tests take several blocks, so that blocks can be lost and mixed up."""
    assert len(BLOCKS) > 5
    assert len(OTHER) > 5


@given(st.text(max_size=2000), st.integers(0, 127), st.randoms())
def test_any_text_survives(text: str, device: int, chance: ArtificialRandom) -> None:
    """Any text comes back from its blocks, in any order, and from a .syx file of them."""
    messages = blocks(text, device)
    assert all(is_whole(message) and len(message) <= LONGEST_REQUEST for message in messages)
    assert from_syx(b"".join(messages)) == text
    chance.shuffle(messages)
    assert collector_of(messages).text() == text


def test_blocks_are_of_the_size_that_slow_recorders_take() -> None:
    """A block has at most 256 bytes, F0 and F7 included, and all but the last use that room."""
    assert {len(message) for message in BLOCKS[:-1]} == {252}
    assert len(BLOCKS[-1]) <= 252 <= LONGEST_REQUEST


def test_a_block_byte_by_byte() -> None:
    """A block is laid out as DEVELOPERS.md has it."""
    (message,) = blocks("Lantern Street", DEVICE)
    assert message[:11].hex(" ").upper() == "F0 7D 62 6C 01 05 0A 01 01 00 01"
    data = message[7:-2]
    assert (data[1] | data[2] << 7, data[3] | data[4] << 7) == (1, 1)
    assert data[5:9] == seven(14, 4)
    assert data[9:14] == seven(zlib.crc32(b"Lantern Street"), 5)
    assert data[14:19] == seven(zlib.crc32(data[:14] + data[19:]), 5)
    assert zlib.decompress(unpack(data[19:])) == b"Lantern Street"


def test_blocks_are_read_as_blocks() -> None:
    """The remote passes every block addressed to it to the collector, and no block addressed to another."""
    assert [RemoteReader(RemoteSettings(device=DEVICE)).read(0, message) for message in BLOCKS] == [
        RemoteRequest("block", None, each) for each in BLOCKS
    ]
    assert RemoteReader(RemoteSettings(device=DEVICE + 1)).read(0, BLOCKS[0]) is None


@given(st.integers(0, len(BLOCKS) - 1), st.data())
def test_a_corrupted_block_is_noticed(place: int, data: DataObject) -> None:
    """A block with one byte changed is left out and reported; the intact block still completes the text."""
    at = data.draw(st.integers(0, len(BLOCKS[place]) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda byte: byte != BLOCKS[place][at]))
    broken = BLOCKS[place][:at] + bytes((byte,)) + BLOCKS[place][at + 1 :]
    collector = collector_of([*BLOCKS[:place], *BLOCKS[place + 1 :]])
    assert not collector.take(broken).taken
    assert missing(collector) == f"block {place + 1} of {len(BLOCKS)} is missing"
    assert collector_of([broken, *BLOCKS]).text() == TEXT


@given(st.integers(0, len(BLOCKS) - 1), st.data())
def test_two_bytes_swapped_are_noticed(place: int, data: DataObject) -> None:
    """A block with two bytes swapped is detected, though its sum is right."""
    message = bytearray(BLOCKS[place])
    first, second = (data.draw(st.integers(7, len(message) - 3)) for _ in range(2))
    message[first], message[second] = message[second], message[first]
    if bytes(message) != BLOCKS[place]:
        collector = collector_of([*BLOCKS[:place], *BLOCKS[place + 1 :]])
        assert not collector.take(bytes(message)).taken
        assert missing(collector) == f"block {place + 1} of {len(BLOCKS)} is missing"


@given(st.sets(st.integers(1, len(BLOCKS)), min_size=1, max_size=len(BLOCKS) - 1), st.randoms())
def test_lost_blocks_are_reported_by_number(lost: set[int], chance: ArtificialRandom) -> None:
    """Every missing block is reported; once it comes, on its own, the text is whole."""
    here = [message for place, message in enumerate(BLOCKS, 1) if place not in lost]
    chance.shuffle(here)
    collector = collector_of(here)
    assert (collector.here, collector.total, collector.complete) == (len(here), len(BLOCKS), False)
    named = [
        place
        for first, last in re.findall(r"(\d+)(?: to (\d+))?", missing(collector).partition(" of ")[0])
        for place in range(int(first), int(last or first) + 1)
    ]
    assert set(named) == lost
    for place in sorted(lost):
        collector.take(BLOCKS[place - 1])
    assert collector.text() == TEXT


@given(st.lists(st.integers(0, len(BLOCKS) - 1), min_size=1, max_size=10))
def test_doubled_blocks_do_no_harm(again: list[int]) -> None:
    """Blocks that come twice, wherever they come, change nothing."""
    assert collector_of([*(BLOCKS[place] for place in again), *BLOCKS]).text() == TEXT


@given(st.integers(1, len(BLOCKS)), st.integers(0, len(OTHER) - 1))
def test_blocks_of_another_dump_are_refused(place: int, other: int) -> None:
    """A block of another dump in the middle is left out and reported as such, and the first dump is complete."""
    collector = collector_of(BLOCKS[: place - 1] or BLOCKS[:1])
    assert collector.take(OTHER[other]) == (False, f"block {other + 1} belongs to another backup and is ignored")
    for message in BLOCKS:
        collector.take(message)
    assert collector.text() == TEXT


def test_what_is_missing_is_said_in_words() -> None:
    """Runs of missing blocks are reported as from and to, single ones one by one."""
    assert len(BLOCKS) >= 10
    few = collector_of([BLOCKS[place - 1] for place in (1, 3, 8)])
    rest = f"9 to {len(BLOCKS)}"
    assert few.and_missing("half") == f"half; blocks 2, 4 to 7 and {rest} of {len(BLOCKS)} are missing"
    assert missing(collector_of(BLOCKS[1:])) == f"block 1 of {len(BLOCKS)} is missing"
    assert collector_of(BLOCKS).and_missing("whole") == "whole"


def test_of_many_gaps_the_first_are_named() -> None:
    """However many blocks are missing, the sentence is short: twenty gaps, and how many blocks more."""
    whole = whole_of(16383, 1 << 20, b"")
    collector = collector_of([forged(place, whole, pack(b"x")) for place in range(2, 3000, 2)])
    first = ", ".join(str(place) for place in range(1, 40, 2))
    assert missing(collector) == f"blocks {first} and {16383 - 1499 - 20} more of 16383 are missing"


def test_a_block_costs_the_same_however_many_there_are() -> None:
    """Taking a block of a dump "of 16383" runs through no more lines of code than taking one of a dump of 20."""

    def lines(count: int) -> int:
        whole = whole_of(count, 1 << 20, b"")
        collector = collector_of([forged(place, whole, pack(b"x")) for place in range(1, 10)])
        return lines_run(lambda: collector.take(forged(10, whole, pack(b"x"))))

    assert lines(16383) == lines(20)


@pytest.mark.parametrize(
    "message", [b"", b"\xf0", b"\xf0\xf7", b"\x90\x3c\x40", own(DEVICE, 0x02), own(DEVICE, 0x0A), BLOCKS[0][:12]]
)
def test_what_is_no_block_changes_nothing(message: bytes) -> None:
    """Messages that are not blocks, or only the start of one, are left out and reported."""
    collector = collector_of(BLOCKS[:1])
    assert not collector.take(message).taken
    assert collector.here == 1


def forged(place: int, whole: bytes, part: bytes, form: int = 1) -> bytes:
    """A block with all sums right, whatever its content."""
    head = bytes((form,)) + seven(place, 2) + whole
    return own(DEVICE, 0x0A, head + seven(zlib.crc32(head + part), 5) + part)


def whole_of(count: int, length: int, raw: bytes) -> bytes:
    return seven(count, 2) + seven(length, 4) + seven(zlib.crc32(raw), 5)


ONE = whole_of(1, 5, b"scene")


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (forged(1, ONE, pack(zlib.compress(b"scene")), form=2), "block 1 has format 2; this Bayleaf reads format 1"),
        (forged(2, ONE, pack(b"..")), "block 2 of 1 does not exist"),
        (forged(0, ONE, pack(b"..")), "block 0 of 1 does not exist"),
        (forged(1, ONE, b"\x01"), "block 1 is not packed in Bayleaf's format"),
        (
            forged(1, whole_of(1, (4_000_000) + 1, b""), pack(zlib.compress(bytes(100_000)))),
            "block 1 is of a text of 4000001 bytes; a backup has at most 4000000",
        ),
        (forged(1, ONE, bytes(300)), "a block of 328 bytes was ignored; a block has at most 256"),
    ],
)
def test_what_nobody_here_sends(message: bytes, words: str) -> None:
    """Blocks with all checksums right that no sender makes are refused with the reason, and nothing of them is kept."""
    collector = DumpCollector()
    assert collector.take(message) == (False, words)
    assert collector.here == 0
    for each in BLOCKS:
        collector.take(each)
    assert collector.text() == TEXT


@pytest.mark.parametrize(
    "message",
    [
        forged(1, ONE, pack(b"no zlib")),
        forged(1, ONE, pack(zlib.compress(b"score"))),
        forged(1, whole_of(1, 4, b"scene"), pack(zlib.compress(b"scene"))),
        forged(1, whole_of(1, 2, b"\xff\xff"), pack(zlib.compress(b"\xff\xff"))),
        forged(1, whole_of(1, 4_000_000, b""), pack(zlib.compress(bytes(100_000)))),
    ],
    ids=["no zlib", "another text", "another length", "no UTF-8", "too short"],
)
def test_a_dump_that_does_not_match_its_checksum(message: bytes) -> None:
    """A complete dump that does not give what its blocks promise gives nothing."""
    with pytest.raises(ValueError, match="all blocks arrived, but together they do not match what was sent"):
        collector_of([message]).text()


def test_a_dump_that_swells_is_cut_off() -> None:
    """A dump that unpacks to more than its blocks promise is not unpacked any further."""
    stored = zlib.compress(bytes(1 << 26))
    parts = [pack(stored[start : start + 196]) for start in range(0, len(stored), 196)]
    whole = whole_of(len(parts), 4_000_000, bytes(4_000_000))
    collector = collector_of([forged(place, whole, part) for place, part in enumerate(parts, 1)])
    tracemalloc.start()
    with pytest.raises(ValueError, match="do not match what was sent"):
        collector.text()
    assert tracemalloc.get_traced_memory()[1] < 16 << 20
    tracemalloc.stop()


def test_noise_is_no_block() -> None:
    """Of 20,000 random messages with a block's start none is accepted and none raises an error."""
    chance = random.Random(1)
    collector = DumpCollector()
    for _ in range(20_000):
        message = BLOCKS[0][: chance.randrange(40)] + chance.randbytes(chance.randrange(40))
        assert not collector.take(message).taken


# .syx files


def test_a_file_with_other_things_in_it() -> None:
    """Other SysEx and stray bytes in a .syx file are skipped."""
    other = bytes.fromhex("F0 7E 7F 06 01 F7")
    assert from_syx(other + b"\x00" + other.join(BLOCKS) + other) == TEXT


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "this file holds no block of a backup"),
        (b"MThd", "this file holds no block of a backup"),
        (b"".join(BLOCKS[:1] + BLOCKS[2:]), "this backup is not complete; block 2 of .* is missing"),
        (b"".join((*BLOCKS[:2], BLOCKS[2][:40], *BLOCKS[3:])), "block 3 of .* is missing"),
        (
            b"".join((*BLOCKS[:2], BLOCKS[2][:60] + b"\1\2\3" + BLOCKS[2][63:], *BLOCKS[3:])),
            "block 3 arrived corrupted; this backup is not complete; block 3 of .* is missing",
        ),
        (b"".join(BLOCKS + OTHER), "blocks of more than one backup"),
        (b"".join(BLOCKS[1:] + OTHER[:1]), "blocks of more than one backup"),
    ],
    ids=["empty", "no dump", "lost", "cut", "broken", "two", "mixed"],
)
def test_files_that_are_not_whole(data: bytes, words: str) -> None:
    """A .syx file that does not hold exactly one whole backup is refused, with what is wrong, block by block."""
    with pytest.raises(ValueError, match=words):
        from_syx(data)


@given(st.integers(0, sum(map(len, BLOCKS))))
def test_a_file_cut_anywhere(end: int) -> None:
    """A .syx file cut anywhere before its end never yields a text."""
    data = b"".join(BLOCKS)
    if end == len(data):
        assert from_syx(data) == TEXT
        return
    with pytest.raises(ValueError, match=r"is missing|are missing|no block"):
        from_syx(data[:end])


def test_the_demo_rig(tmp_path: Path) -> None:
    """The demo rig, comments and all, survives a .syx file on disk."""
    text = (PRESETS / "demo.toml").read_text(encoding="utf-8")
    file = tmp_path / "demo.syx"
    file.write_bytes(b"".join(blocks(text, DEVICE)))
    assert from_syx(file.read_bytes()) == text


def test_a_text_that_is_too_long() -> None:
    """A text beyond the size limit is refused at once, not cut."""
    with pytest.raises(ValueError, match="holds at most 4000000 bytes in 16383 blocks"):
        blocks("x" * ((4_000_000) + 1), DEVICE)


def test_the_sum_of_every_block_is_right() -> None:
    """Every block is a message of our own SysEx with its checksum."""
    assert all(read_own(message) is not None for message in BLOCKS)
