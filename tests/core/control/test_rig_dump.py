"""A rig file as blocks of SysEx, and back."""

import random
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.strategies._internal.core import DataObject
from hypothesis.strategies._internal.random import ArtificialRandom

from engine.core.control.remote_messages import RemoteReader, RemoteRequest, own, read_own, seven
from engine.core.control.rig_dump import LONGEST_BLOCK, DumpCollector, DumpProgress, blocks, from_syx
from engine.midi.kinds import is_whole
from engine.midi.seven_bit_packing import pack, unpack
from tests.support.paths import PRESETS

DEVICE = 5


def written(seed: int, lines: int = 160) -> str:
    """A rig-like text that hardly compresses, so that it fills several blocks."""
    chance = random.Random(seed)
    return "".join(f'[[scenes]]\nnumber = {line}\nname = "Nº {chance.random()}"\n' for line in range(1, lines))


TEXT = written(1)
BLOCKS = blocks(TEXT, DEVICE)
OTHER = blocks(written(2), DEVICE)


def collected(messages: list[bytes]) -> DumpProgress | str:
    """The whole text if it is complete, or else the result of the last message."""
    collector = DumpCollector()
    said: DumpProgress | str = collector.progress("")
    for message in messages:
        said = collector.take(message)
        if isinstance(said, str):
            return said
    return said


def test_there_are_several_blocks() -> None:
    """The texts of these tests take several blocks, so that blocks can be lost and mixed up."""
    assert len(BLOCKS) > 5
    assert len(OTHER) > 5


@given(st.text(max_size=2000), st.integers(0, 127), st.randoms())
def test_any_text_survives(text: str, device: int, chance: ArtificialRandom) -> None:
    """Any text comes back from its blocks, in any order, and from a .syx file of them."""
    messages = blocks(text, device)
    assert all(is_whole(message) and len(message) <= LONGEST_BLOCK for message in messages)
    assert from_syx(b"".join(messages)) == text
    chance.shuffle(messages)
    assert collected(messages) == text


def test_blocks_are_of_the_size_that_slow_recorders_take() -> None:
    """A block has at most 256 bytes, F0 and F7 included, and all but the last use that room."""
    assert {len(message) for message in BLOCKS[:-1]} == {252}
    assert len(BLOCKS[-1]) <= 252 <= LONGEST_BLOCK


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
    assert [RemoteReader(DEVICE).read(0, message) for message in BLOCKS] == [
        RemoteRequest("block", None, each) for each in BLOCKS
    ]
    assert RemoteReader(DEVICE + 1).read(0, BLOCKS[0]) is None


@given(st.integers(0, len(BLOCKS) - 1), st.data())
def test_a_corrupted_block_is_noticed(place: int, data: DataObject) -> None:
    """A block with one byte changed is left out and reported; the intact block still completes the text."""
    at = data.draw(st.integers(0, len(BLOCKS[place]) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda byte: byte != BLOCKS[place][at]))
    broken = BLOCKS[place][:at] + bytes((byte,)) + BLOCKS[place][at + 1 :]
    said = collected([*BLOCKS[:place], *BLOCKS[place + 1 :], broken])
    assert isinstance(said, DumpProgress)
    assert (said.missing, said.taken) == ((place + 1,), False)
    assert collected([broken, *BLOCKS]) == TEXT


@given(st.integers(0, len(BLOCKS) - 1), st.data())
def test_two_bytes_swapped_are_noticed(place: int, data: DataObject) -> None:
    """A block with two bytes swapped is detected, though its sum is right."""
    message = bytearray(BLOCKS[place])
    first, second = (data.draw(st.integers(7, len(message) - 3)) for _ in range(2))
    message[first], message[second] = message[second], message[first]
    if bytes(message) != BLOCKS[place]:
        said = collected([*BLOCKS[:place], *BLOCKS[place + 1 :], bytes(message)])
        assert isinstance(said, DumpProgress)
        assert (said.missing, said.taken) == ((place + 1,), False)


@given(st.sets(st.integers(1, len(BLOCKS)), min_size=1, max_size=len(BLOCKS) - 1), st.randoms())
def test_lost_blocks_are_told_by_number(lost: set[int], chance: ArtificialRandom) -> None:
    """Every missing block is reported; once it comes, on its own, the text is whole."""
    here = [message for place, message in enumerate(BLOCKS, 1) if place not in lost]
    chance.shuffle(here)
    collector = DumpCollector()
    said = [collector.take(message) for message in here][-1]
    assert isinstance(said, DumpProgress)
    assert (set(said.missing), said.here, said.total) == (lost, len(here), len(BLOCKS))
    assert [collector.take(BLOCKS[place - 1]) for place in sorted(lost)][-1] == TEXT


@given(st.lists(st.integers(0, len(BLOCKS) - 1), min_size=1, max_size=10))
def test_doubled_blocks_do_no_harm(again: list[int]) -> None:
    """Blocks that come twice, wherever they come, change nothing."""
    assert collected([*(BLOCKS[place] for place in again), *BLOCKS]) == TEXT


@given(st.integers(1, len(BLOCKS)), st.integers(0, len(OTHER) - 1))
def test_blocks_of_another_dump_are_refused(place: int, other: int) -> None:
    """A block of another dump in the middle is left out and reported as such, and the first dump is complete."""
    collector = DumpCollector()
    for message in BLOCKS[: place - 1] or BLOCKS[:1]:
        collector.take(message)
    said = collector.take(OTHER[other])
    assert isinstance(said, DumpProgress)
    assert not said.taken
    assert said.news == f"block {other + 1} belongs to another backup and is ignored"
    assert [collector.take(message) for message in BLOCKS][-1] == TEXT


def test_what_is_missing_is_said_in_words() -> None:
    """Runs of missing blocks are reported as from and to, single ones one by one."""
    assert len(BLOCKS) >= 10
    few = [BLOCKS[place - 1] for place in (1, 3, 8)]
    said = collected(few)
    assert isinstance(said, DumpProgress)
    rest = f"9 to {len(BLOCKS)}"
    assert said.text == f"block 8 received; blocks 2, 4 to 7 and {rest} of {len(BLOCKS)} are missing"
    one = collected(BLOCKS[1:])
    assert isinstance(one, DumpProgress)
    assert one.text.endswith(f"; block 1 of {len(BLOCKS)} is missing")


@pytest.mark.parametrize(
    "message", [b"", b"\xf0", b"\xf0\xf7", b"\x90\x3c\x40", own(DEVICE, 0x02), own(DEVICE, 0x0A), BLOCKS[0][:12]]
)
def test_what_is_no_block_changes_nothing(message: bytes) -> None:
    """Messages that are not blocks, or only the start of one, are left out and reported."""
    collector = DumpCollector()
    collector.take(BLOCKS[0])
    said = collector.take(message)
    assert isinstance(said, DumpProgress)
    assert (said.here, said.taken) == (1, False)


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
        (forged(1, ONE, pack(b"no zlib")), "all blocks arrived, but together they do not match what was sent"),
        (forged(1, ONE, pack(zlib.compress(b"score"))), "all blocks arrived, but"),
        (forged(1, whole_of(1, 4, b"scene"), pack(zlib.compress(b"scene"))), "all blocks arrived, but"),
        (forged(1, whole_of(1, 2, b"\xff\xff"), pack(zlib.compress(b"\xff\xff"))), "all blocks arrived, but"),
        (forged(1, whole_of(1, (1 << 28) - 1, b""), pack(zlib.compress(bytes(100_000)))), "all blocks arrived, but"),
    ],
)
def test_what_nobody_here_sends(message: bytes, words: str) -> None:
    """Valid blocks that do not make a rig are refused with the reason, and none of them is kept."""
    collector = DumpCollector()
    said = collector.take(message)
    assert isinstance(said, DumpProgress)
    assert said.news.startswith(words)
    assert (said.here, said.taken) == (0, False)
    assert [collector.take(each) for each in BLOCKS][-1] == TEXT


def test_a_dump_that_would_swell_is_refused() -> None:
    """A dump whose text would exceed the size limit for sending is refused, however small its blocks are."""
    raw = bytes((1 << 24) + 1)
    stored = zlib.compress(raw)
    parts = [pack(stored[start : start + 196]) for start in range(0, len(stored), 196)]
    whole = whole_of(len(parts), len(raw), raw)
    said = collected([forged(place, whole, part) for place, part in enumerate(parts, 1)])
    assert isinstance(said, DumpProgress)
    assert said.news.startswith("all blocks arrived, but together they do not match what was sent")


def test_noise_is_no_block() -> None:
    """Of 20,000 random messages with a block's start none is accepted and none raises an error."""
    chance = random.Random(1)
    collector = DumpCollector()
    for _ in range(20_000):
        message = BLOCKS[0][: chance.randrange(40)] + chance.randbytes(chance.randrange(40))
        said = collector.take(message)
        assert isinstance(said, DumpProgress)
        assert not said.taken


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
    with pytest.raises(ValueError, match="holds at most 16777216 bytes in 16383 blocks"):
        blocks("x" * ((1 << 24) + 1), DEVICE)


def test_the_sum_of_every_block_is_right() -> None:
    """Every block is a message of our own SysEx with its checksum."""
    assert all(read_own(message) is not None for message in BLOCKS)
