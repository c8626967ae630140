"""The differences between two dumps, in words."""

from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher
from typing import Final, NamedTuple

_WORTH_MATCHING: Final = 2000  # messages; longer dumps are compared message by message


class DumpDifference(NamedTuple):
    """A message (numbered from 1) that differs; `first` or `second` is None if only the other dump has it."""

    first: int | None
    second: int | None
    text: str


def differences(first: Sequence[bytes], second: Sequence[bytes]) -> list[DumpDifference]:
    """All differences, in order; empty if the dumps are equal. The texts speak of "the first" and "the second" dump."""
    return [
        _difference(first, second, one, two) for one, two in _pairs(first, second) if _differ(first, second, one, two)
    ]


def _differ(first: Sequence[bytes], second: Sequence[bytes], one: int | None, two: int | None) -> bool:
    return one is None or two is None or first[one] != second[two]


def _pairs(first: Sequence[bytes], second: Sequence[bytes]) -> Iterator[tuple[int | None, int | None]]:
    """The messages that correspond: in equally long dumps those at the same place, for a changed byte moves nothing."""
    if len(first) == len(second):
        yield from zip(range(len(first)), range(len(second)), strict=True)
        return
    if max(len(first), len(second)) > _WORTH_MATCHING:
        yield from _side_by_side(0, len(first), 0, len(second))
        return
    for _, start, end, start_2, end_2 in SequenceMatcher(None, first, second, autojunk=False).get_opcodes():
        yield from _side_by_side(start, end, start_2, end_2)


def _side_by_side(start: int, end: int, start_2: int, end_2: int) -> Iterator[tuple[int | None, int | None]]:
    for step in range(max(end - start, end_2 - start_2)):
        yield start + step if start + step < end else None, start_2 + step if start_2 + step < end_2 else None


def _difference(first: Sequence[bytes], second: Sequence[bytes], one: int | None, two: int | None) -> DumpDifference:
    if one is None or two is None:
        here, place, message = ("second", two, second) if one is None else ("first", one, first)
        assert place is not None
        text = f"message {place + 1} ({len(message[place])} bytes) is only in the {here} dump"
    else:
        named = f"message {one + 1}" if one == two else f"message {one + 1} of the first, {two + 1} of the second"
        text = f"{named}: {_bytes_in_words(first[one], second[two])}"
    return DumpDifference(None if one is None else one + 1, None if two is None else two + 1, text)


def _bytes_in_words(one: bytes, two: bytes) -> str:
    """The difference between two messages. Bytes count from 1, as in the tables of manuals: F0 is byte 1."""
    places = [place for place, (left, right) in enumerate(zip(one, two, strict=False)) if left != right]
    place = places[0] if places else min(len(one), len(two))
    if len(one) != len(two):
        return f"{len(one)} bytes became {len(two)}; the first difference is at byte {place + 1}"
    change = f"byte {place + 1} was {one[place]:02X}, is {two[place]:02X}"
    return change if len(places) == 1 else f"{len(places)} of {len(one)} bytes differ; {change}"
