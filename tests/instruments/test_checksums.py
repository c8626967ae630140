"""Checksums of the standard's dumps.

Source: MIDI 1.0 Detailed Specification 4.2.1, p. 36, from memory; the layout of file dumps from memory, too.
"""

from functools import reduce
from operator import xor

from hypothesis import given
from hypothesis import strategies as st

from engine.instruments.checksums import first_damaged

SAMPLES = bytes(range(120))


def packet(head: str, data: bytes) -> bytes:
    """F0, head, data, the XOR of both, F7."""
    body = bytes.fromhex(head) + data
    return bytes((0xF0, *body, reduce(xor, body) & 0x7F, 0xF7))


def test_a_packet_written_out() -> None:
    """A sample packet of zeros on channel 0, number 0, has the checksum 7E xor 00 xor 02 xor 00, which is 7C."""
    whole = bytes.fromhex("F07E000200") + bytes(120) + bytes.fromhex("7CF7")
    assert first_damaged([whole]) is None
    assert first_damaged([whole[:-2] + b"\x7d\xf7"]) == 0


@given(st.sampled_from((("7E000205", SAMPLES), ("7E0507020103", b"abcd"))), st.integers(0, 200), st.integers(1, 127))
def test_one_changed_byte_is_seen(kind: tuple[str, bytes], place: int, change: int) -> None:
    """If any data byte is changed, the packet is reported by its place; an undamaged packet is not."""
    whole = packet(*kind)
    first = 1 + len(bytes.fromhex(kind[0]))
    at = first + place % (len(whole) - first - 1)
    damaged = bytes((*whole[:at], whole[at] ^ change, *whole[at + 1 :]))
    assert first_damaged([whole, damaged]) == 1
    assert first_damaged([whole, whole]) is None


def test_what_has_no_checksum_of_the_standard() -> None:
    """Manufacturers' own messages, identity replies and short packets are not checked here."""
    assert (
        first_damaged([b"\xf0\x7d\x01\xf7", bytes.fromhex("F07E0006027D0100020001020304F7"), b"\xf0\x7e\xf7"]) is None
    )
