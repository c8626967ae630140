"""Where two dumps differ. (Our own words; no outside source.)"""

from hypothesis import given
from hypothesis import strategies as st

from engine.instruments.dump_comparison import differences

A, B, C = b"\xf0\x7d\x01\x02\xf7", b"\xf0\x7d\x03\x04\xf7", b"\xf0\x7d\x05\xf7"
SYSEX = st.lists(st.integers(0, 127), max_size=5).map(lambda data: bytes((0xF0, *data, 0xF7)))
DUMPS = st.lists(SYSEX, max_size=8)


def texts(first: list[bytes], second: list[bytes]) -> list[str]:
    return [difference.text for difference in differences(first, second)]


def test_a_changed_byte_is_named() -> None:
    """A difference names the message, the byte counted from 1, its old value and its new one."""
    assert texts([A, B], [A, b"\xf0\x7d\x03\x05\xf7"]) == ["message 2: byte 4 was 04, is 05"]
    assert texts([A], [B]) == ["message 1: 2 of 5 bytes differ; byte 3 was 01, is 03"]
    assert texts([A], [C]) == ["message 1: 5 bytes became 4; the first difference is at byte 3"]


def test_a_message_more_or_less_is_named() -> None:
    """A message that only one dump has does not make all the following ones different."""
    assert texts([A, B, C], [A, C]) == ["message 2 (5 bytes) is only in the first dump"]
    assert texts([A, C], [A, B, C]) == ["message 2 (5 bytes) is only in the second dump"]


@given(DUMPS, DUMPS)
def test_equal_dumps_alone_have_no_differences(first: list[bytes], second: list[bytes]) -> None:
    """There are differences exactly if the dumps are unequal."""
    assert bool(differences(first, second)) == (first != second)
    assert not differences(first, list(first))


def test_long_dumps_are_compared_by_place() -> None:
    """In dumps too long for matching, every message that differs is still found."""
    assert differences([A] * 2001, [A] * 2000)[-1].first == 2001
