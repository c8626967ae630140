"""The handshake of the universal dumps. Source: MIDI 1.0 Detailed Specification 4.2.1, Sample Dump, File Dump."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.instruments.dump_handshake import ACK, CANCEL, NAK, PATIENCE, WAIT, Handshake, HandshakeVerdict, answer
from tests.support.check_values import check_value

PACKET = bytes((0xF0, 0x7E, 0x00, 0x02, 5, *[0] * 121, 0xF7))
FILE_PACKET = bytes((0xF0, 0x7E, 0x00, 0x07, 0x02, 9, 0, 0, 0, 0xF7))
PLAIN = b"\xf0\x7d\x01\xf7"


@pytest.fixture
def shake() -> Handshake:
    return Handshake()


def test_the_answers_have_the_standards_numbers() -> None:
    """ACK 7F, NAK 7E, CANCEL 7D, WAIT 7C, each with the packet's number (Table VIIa)."""
    names = check_value("usx-nrt-subids").expected
    assert [names[f"{kind:02X}"] for kind in (ACK, NAK, CANCEL, WAIT)] == ["ACK", "NAK", "Cancel", "Wait"]
    assert answer(ACK, 0, 5) == bytes.fromhex("F0 7E 00 7F 05 F7")


@pytest.mark.parametrize(("message", "packet"), [(PACKET, 5), (FILE_PACKET, 9)])
def test_an_answer_speaks_of_one_packet(shake: Handshake, message: bytes, packet: int) -> None:
    """ACK of another packet changes nothing; ACK of this packet asks for the next, and NAK for this one again."""
    shake.sent(0, message)
    shake.hear(answer(ACK, 0, packet - 1))
    assert shake.verdict(1) is HandshakeVerdict.PENDING
    shake.hear(answer(NAK, 0, packet))
    assert shake.verdict(2) is HandshakeVerdict.AGAIN
    shake.sent(3, message)
    shake.hear(answer(ACK, 0, packet))
    assert shake.verdict(4) is HandshakeVerdict.NEXT


def test_three_times_refused(shake: Handshake) -> None:
    """The third NAK of one message ends the dump (common practice, no source)."""
    for _ in range(3):
        shake.sent(0, PLAIN)
        shake.hear(answer(NAK, 0, 0))
    assert shake.verdict(1) is HandshakeVerdict.REFUSED


def test_an_acknowledged_message_leaves_the_next_its_three_tries(shake: Handshake) -> None:
    """NAKs are counted separately for each message."""
    for _ in range(4):
        shake.sent(0, PLAIN)
        shake.hear(answer(NAK, 0, 0))
        assert shake.verdict(0) is HandshakeVerdict.AGAIN
        shake.sent(0, PLAIN)
        shake.hear(answer(ACK, 0, 0))
        assert shake.verdict(0) is HandshakeVerdict.NEXT


def test_wait_has_no_end(shake: Handshake) -> None:
    """After WAIT nothing is sent until another answer comes, however long it takes."""
    shake.sent(0, PLAIN)
    shake.hear(answer(WAIT, 0, 0))
    assert shake.verdict(PATIENCE * 1000) is HandshakeVerdict.PENDING
    shake.hear(answer(ACK, 0, 0))
    assert shake.verdict(PATIENCE * 1000) is HandshakeVerdict.NEXT


def test_cancel_and_silence_end_the_dump(shake: Handshake) -> None:
    """CANCEL of any number ends the dump; so does silence, since an unacknowledged message may not have arrived."""
    shake.sent(0, PACKET)
    shake.hear(answer(CANCEL, 0, 0))
    assert shake.verdict(1) is HandshakeVerdict.CANCELLED
    silent = Handshake()
    silent.sent(0, PACKET)
    assert silent.verdict(PATIENCE - 1) is HandshakeVerdict.PENDING
    assert silent.verdict(PATIENCE) is HandshakeVerdict.SILENT


@given(st.lists(st.binary(max_size=8), max_size=5))
def test_other_messages_are_no_answers(heard: list[bytes]) -> None:
    """Messages other than the answers change nothing."""
    shake = Handshake()
    shake.sent(0, PLAIN)
    for message in heard:
        if len(message) != 6 or message[:2] != b"\xf0\x7e":
            shake.hear(message)
    assert shake.verdict(1) is HandshakeVerdict.PENDING
