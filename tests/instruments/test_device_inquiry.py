"""What is on a cable: the universal device inquiry."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.instruments.device_inquiry import ALL_DEVICES, Identity, asks, read_reply, request
from tests.support.check_values import check_value

SEVEN = st.integers(0, 127)


@pytest.mark.parametrize("name", ["id-request", "id-request-dev"])
def test_the_question(name: str) -> None:
    """The inquiry is F0 7E device 06 01 F7 (MIDI 1.0 p. 40), and is recognised when a cable leads it back."""
    entry = check_value(name)
    asked = request(int(entry.input["device"], 16))
    assert asked == bytes.fromhex(entry.expected)
    assert asks(asked)


@pytest.mark.parametrize("name", ["id-reply-1byte", "id-reply-3byte"])
def test_a_reply_is_read_field_by_field(name: str) -> None:
    """Manufacturer ID of one or three bytes, family and member low byte first, four version bytes (MIDI 1.0 p. 34,
    40)."""
    entry = check_value(name)
    said = read_reply(bytes.fromhex(entry.expected))
    asked = entry.input
    assert said == Identity(
        int(asked["device"], 16),
        bytes.fromhex(asked["maker"]),
        asked["family"],
        asked["member"],
        bytes.fromhex(asked["version"]),
    )
    assert said.plain()["manufacturer"] == asked["maker"]


def test_how_long_a_manufacturers_id_is() -> None:
    """One byte, or three that begin with 00 (mid-forms); 00 alone is no id (mid-unused)."""
    entry = check_value("mid-forms")
    for message, width in zip(entry.input, entry.expected, strict=True):
        maker = bytes.fromhex(message)[1 : 1 + width]
        said = read_reply(b"\xf0\x7e\x10\x06\x02" + maker + bytes((1, 0, 2, 0, 1, 2, 3, 4, 0xF7)))
        assert said is not None
        assert said.maker == maker
    unused, allowed = (found[0] for found in (check_value("mid-unused").input, check_value("mid-unused").expected))
    alone = b"\xf0\x7e\x10\x06\x02" + bytes.fromhex(unused) + bytes((1, 0, 2, 0, 1, 2, 3, 4, 0xF7))
    assert (read_reply(alone) is not None) is allowed


def test_only_whole_replies_are_read() -> None:
    """A reply has 15 bytes with a one-byte manufacturer ID or 17 with three; nothing else is read (MIDI 1.0 p. 40)."""
    for name, width in (("id-reply-1byte", "one_byte_maker"), ("id-reply-3byte", "three_byte_maker")):
        reply = bytes.fromhex(check_value(name).expected)
        assert len(reply) == check_value("id-reply-lengths").expected[width]
        assert read_reply(reply[:-2] + b"\xf7") is None
        assert read_reply(reply[:-1] + b"\x00\xf7") is None
        assert read_reply(reply[:-1]) is None
    assert read_reply(request(ALL_DEVICES)) is None
    assert not asks(bytes.fromhex("F0 7E 7F 09 01 F7"))


@given(st.binary(max_size=24))
def test_any_bytes_are_read_without_a_fault(data: bytes) -> None:
    """No bytes, whatever they are, make the reader raise an exception."""
    assert read_reply(data) is None or data[:2] == b"\xf0\x7e"
    asks(data)
