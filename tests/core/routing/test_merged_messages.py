"""Which messages other players' may change, by themselves."""

import pytest

from engine.core.routing.merged_messages import merged_of


def _of(*messages: str) -> object:
    return merged_of([(3, tuple(map(bytes.fromhex, messages)))])


def test_msbs_alone_are_only_remembered_each_at_its_place() -> None:
    """The place: output, status byte, controller."""
    assert _of("B2 07 40", "B5 0B 11") == (False, (((3, 0xB2, 7), 0x40), ((3, 0xB5, 11), 0x11)))


@pytest.mark.parametrize("message", ["B2 06 01", "B2 00 01", "B2 27 01", "B2 40 7F", "B2 7B 00", "B2 79 00", "C2 05"])
def test_what_is_merged(message: str) -> None:
    """Data entry, banks, LSBs, pedals, mode messages, programs; with an MSB beside it nothing is only remembered."""
    assert _of(message) == _of("B2 07 40", message) == (True, ())


@pytest.mark.parametrize("message", ["92 3C 40", "E2 00 40", "D2 10", "B2 59 01"])
def test_what_is_not(message: str) -> None:
    assert _of(message) == (False, ())
