"""Messages parsed from byte streams: the specification's examples, libasound's results, and streams cut anywhere."""

import os
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.midi.byte_stream import StreamParser
from engine.midi.kinds import DATA_BYTES, KINDS, is_whole
from tests.support.alsa_codec import AlsaCodec
from tests.support.check_values import CheckValue, check_value, check_values

NOTE = b"\x90\x3c\x40"
FRAMES = [
    *check_values("stream-"),
    *(check_value(f"sysex-{which}") for which in ("rt-inside", "unterminated", "restart")),
]
REAL_TIME = (0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF)


def parse(data: bytes, cuts: tuple[int, ...] = ()) -> tuple[list[bytes], int]:
    """Messages and repairs of a new parser that is fed the stream in pieces, cut at these places."""
    parser, messages = StreamParser(), []
    for start, end in pairwise((0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data))):
        messages += parser.feed(data[start:end])
    return messages, parser.repairs


def split_real_time(messages: list[bytes]) -> tuple[list[bytes], list[bytes]]:
    """Real-time messages, and the others."""
    return [m for m in messages if m[0] >= 0xF8], [m for m in messages if m[0] < 0xF8]


# Streams as they come: mostly statuses and data, sometimes SysEx and real-time, whole or broken.
STATUS = st.sampled_from([0x80, 0x91, 0xA2, 0xB3, 0xC4, 0xD5, 0xE6, 0xF0, 0xF1, 0xF2, 0xF3, 0xF4, 0xF5, 0xF6, 0xF7])
ANY_BYTE = st.one_of(st.integers(0, 0x7F), st.integers(0, 0x7F), STATUS, st.integers(0xF8, 0xFF))
BROKEN = st.lists(ANY_BYTE, max_size=60).map(bytes)
MESSAGE = st.one_of(
    *(
        st.tuples(st.just(kind.status), *[st.integers(0, 0x7F)] * kind.data_bytes).map(bytes)
        for kind in KINDS
        if kind.data_bytes >= 0
    ),
    st.lists(st.integers(0, 0x7F), max_size=20).map(lambda data: bytes((0xF0, *data, 0xF7))),
)
CUTS = st.lists(st.integers(0, 1000), max_size=8).map(tuple)


@pytest.mark.parametrize("entry", check_values("status-"), ids=lambda entry: entry.id)
def test_every_status_takes_its_data_bytes(entry: CheckValue) -> None:
    """A status byte with its number of data bytes by the specification is one message; undefined statuses give none.

    Source: beside each entry (MIDI 1.0 Tables I, II, V, VI, VII).
    """
    status, count = int(entry.input["status"][:2], 16), entry.expected["data_bytes"]
    if status == 0xF0:
        assert DATA_BYTES[status] == -1
        assert parse(b"\xf0\x7d\x01\xf7") == ([b"\xf0\x7d\x01\xf7"], 0)
        return
    message = bytes((status, *range(1, count + 1)))
    undefined = "undefined" in entry.expected["name"] or status == 0xF7
    assert parse(message)[0] == ([] if undefined else [message])
    assert undefined or DATA_BYTES[status] == count


@pytest.mark.parametrize("entry", check_values("encode-"), ids=lambda entry: entry.id)
def test_whole_messages_pass_unchanged(entry: CheckValue) -> None:
    """A whole message comes out as it went in, and no repair is counted. Source: beside each entry."""
    message = bytes.fromhex(entry.expected)
    assert parse(message) == ([message], 0)


@pytest.mark.parametrize("cut", ["whole", "byte by byte"])
@pytest.mark.parametrize("entry", FRAMES, ids=lambda entry: entry.id)
def test_reference_streams(entry: CheckValue, cut: str) -> None:
    """Running status, undefined bytes, orphans and unended SysEx give the messages that the specification requires.

    Source: beside each entry (MIDI 1.0 p. 5, 6, 29, A-1, A-2).
    """
    data, expected = bytes.fromhex(entry.input), entry.expected
    wanted = expected["must_deliver"] if isinstance(expected, dict) else expected
    cuts = tuple(range(len(data))) if cut == "byte by byte" else ()
    assert parse(data, cuts)[0] == [bytes.fromhex(message) for message in wanted]


@given(BROKEN, CUTS)
def test_pieces_do_not_matter(data: bytes, cuts: tuple[int, ...]) -> None:
    """Whole, byte by byte and in any pieces, a stream gives the same messages and the same count of repairs."""
    assert parse(data) == parse(data, cuts) == parse(data, tuple(range(len(data))))


@given(BROKEN)
def test_only_whole_messages_come_out(data: bytes) -> None:
    """Whatever comes in, everything that comes out is exactly one message of MIDI 1.0."""
    assert all(is_whole(message) for message in parse(data)[0])


@given(st.lists(MESSAGE, max_size=20), CUTS)
def test_healthy_streams_pass_unchanged(messages: list[bytes], cuts: tuple[int, ...]) -> None:
    """Whole messages in a row come out as they are, and no repair is counted."""
    assert parse(b"".join(messages), cuts) == (messages, 0)


@given(BROKEN, st.lists(st.tuples(st.integers(0, 100), st.sampled_from(REAL_TIME)), max_size=10), CUTS)
def test_real_time_anywhere(data: bytes, injected: list[tuple[int, int]], cuts: tuple[int, ...]) -> None:
    """Real-time bytes inserted anywhere are all delivered, and change nothing else. MIDI 1.0 p. 5, A-2."""
    quiet = bytes(byte for byte in data if byte < 0xF8)
    mixed = bytearray(quiet)
    for place, byte in injected:
        mixed.insert(place % (len(mixed) + 1), byte)
    messages, repairs = parse(bytes(mixed), cuts)
    real_time, others = split_real_time(messages)
    assert real_time == [bytes((byte,)) for byte in mixed if byte >= 0xF8]
    assert (others, repairs) == parse(quiet)


@settings(max_examples=200)
@given(BROKEN)
def test_libasound_agrees(data: bytes) -> None:
    """On any stream the messages are the same as those of the system's own codec (libasound, snd_midi_event)."""
    try:
        codec = AlsaCodec()
    except OSError:
        assert os.environ.get("BAYLEAF_NO_SKIP") != "1", "libasound.so.2 is needed here"
        pytest.skip("this system has no libasound.so.2")
    try:
        assert parse(data)[0] == codec.feed(data)
    finally:
        codec.close()


@pytest.mark.parametrize(
    ("data", "repairs"),
    [
        ("90 3C 40 3E 40 F8 90 3C 00", 0),
        ("F0 7D 01 F8 02 F7", 0),
        ("3C 40 41 42 90 3C 40", 1),
        ("90 3C 80 3C 40", 1),
        ("90 80 3C 40", 1),
        ("F2 01 90 3C 40", 1),
        ("F7 90 3C 40", 1),
        ("F0 7D 01 90 3C 40", 1),
        ("F0 7D F0 7D 01 F7", 1),
        ("F0 7D 01 F6", 1),
    ],
)
def test_broken_pieces_are_counted(data: str, repairs: int) -> None:
    """Each discarded piece counts once: orphans in a row, a cut message, a lone F7, an unended SysEx.

    Common practice, no source.
    """
    assert parse(bytes.fromhex(data))[1] == repairs


def test_an_overlong_sysex_is_dropped() -> None:
    """A SysEx of the maximum length is kept; one byte longer, it is dropped and counted, and what follows plays."""
    kept, parser = b"\xf0" + bytes(30) + b"\xf7", StreamParser(longest=32)
    assert parser.feed(kept) == [kept]
    assert parser.feed(b"\xf0" + bytes(31) + b"\xf7") == []
    assert parser.repairs == 1
    assert parser.feed(b"\xf0" + bytes(10_000) + NOTE) == [NOTE]
    assert parser.repairs == 2


def test_an_open_sysex_can_be_abandoned() -> None:
    """A SysEx that stays open can be detected and discarded, once; the rest of it does not come out."""
    parser = StreamParser()
    parser.abandon()
    assert parser.repairs == 0
    parser.feed(b"\xf0\x7d\x01")
    assert parser.open
    parser.abandon()
    assert (parser.open, parser.repairs) == (False, 1)
    assert parser.feed(b"\x02\xf7" + NOTE) == [NOTE]


def test_a_message_fed_whole_sets_running_status() -> None:
    """Running status continues after a message that was fed in one piece. MIDI 1.0 p. A-2."""
    parser = StreamParser()
    assert parser.feed(NOTE) == [NOTE]
    assert parser.feed(b"\x3e\x40") == [b"\x90\x3e\x40"]
    assert parser.feed(b"\xc3\x07") == [b"\xc3\x07"]
    assert parser.feed(b"\x08") == [b"\xc3\x08"]
