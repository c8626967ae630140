"""What differs between two performances."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.offline import performance_comparison
from engine.offline.parameter_units import SentMessage
from engine.offline.performance_comparison import differences
from engine.offline.song_time import SongTime

MS = 1_000_000
said = st.lists(
    st.builds(
        SentMessage,
        st.integers(0, 500).map(lambda ms: ms * MS),
        st.sampled_from([bytes((0x90, n, 1)) for n in range(6)]),
    ),
    max_size=40,
).map(lambda listed: sorted(listed, key=lambda each: each.at))


@given(said, said, st.booleans())
def test_the_differences_make_the_one_of_the_other(
    before: list[SentMessage], after: list[SentMessage], far_apart: bool
) -> None:
    """What is missing and what is new is what one side has more of; equal sides have no differences. The same holds for
    the method used when there are too many differences to search, and then exactly, but for what is in another order at
    one time."""
    if far_apart:
        before, after = ([*{each.at: each for each in side}.values()] for side in (before, after))
    with pytest.MonkeyPatch.context() as patch:
        if far_apart:
            patch.setattr(performance_comparison, "_TO_SEARCH", -1)
        found = differences({"a": before}, {"a": after})
        assert differences({"a": before}, {"a": before}) == []
    missing, new = (Counter(each.message for each in found if each.what == what) for what in ("missing", "new"))
    then, now = (Counter(each.message for each in side) for side in (before, after))
    assert then - missing + new == now
    if far_apart:
        assert missing == then - now
        assert new == now - then
    assert [each.at for each in found] == sorted(each.at for each in found)


def test_a_message_that_moved_is_reported_with_how_far() -> None:
    """A later or earlier message is reported in milliseconds, with place and words; less than 0.1 ms is ignored."""
    note = b"\x90\x3c\x40"
    (found,) = differences({"a": [SentMessage(1000 * MS, note)]}, {"a": [SentMessage(1012 * MS, note)]})
    assert found.words(SongTime(480)) == (
        "a at 0:01.000, bar 1:3: 12.0 ms later: channel 1 note on C4 velocity 64 (90 3C 40)"
    )
    assert differences({"a": [SentMessage(1000 * MS, note)]}, {"a": [SentMessage(1000 * MS + 99_999, note)]}) == []


def test_what_an_edit_leaves_alone_has_not_moved() -> None:
    """An edit that turns each C2 into E2 changes those notes and nothing else: an E2 that was there before stays where
    it is. Messages of one moment in another order differ (common practice, no source)."""
    low, high = b"\x99\x24\x40", b"\x99\x28\x40"
    pattern = [(0, low), (100, high), (200, low), (300, low), (400, high), (500, low)]
    before = [SentMessage(at * MS, message) for at, message in pattern]
    after = [SentMessage(at * MS, high) for at, _ in pattern]
    found = differences({"drums": before}, {"drums": after})
    assert [(each.at // MS, each.what, each.message) for each in found] == [
        (at, what, message) for at in (0, 200, 300, 500) for what, message in (("missing", low), ("new", high))
    ]
    swapped = differences(
        {"drums": [SentMessage(0, low), SentMessage(0, high)]}, {"drums": [SentMessage(0, high), SentMessage(0, low)]}
    )
    assert sorted(each.what for each in swapped) == ["missing", "new"]


def test_what_is_far_apart_is_not_the_same_message() -> None:
    """A message that is gone, and an equal one that is new twelve seconds later, are two differences; half a second
    later it has moved (common practice, no source)."""
    note = b"\x90\x3c\x40"
    far = differences({"a": [SentMessage(0, note)]}, {"a": [SentMessage(12_000 * MS, note)]})
    assert [(each.at, each.what) for each in far] == [(0, "missing"), (12_000 * MS, "new")]
    (near,) = differences({"a": [SentMessage(0, note)]}, {"a": [SentMessage(500 * MS, note)]})
    assert near.what == "moved"


def test_an_output_that_only_one_side_has_is_all_difference() -> None:
    """If an output is new, all its messages are new; if it is gone, all are missing."""
    note = b"\x90\x3c\x40"
    found = differences({"a": [SentMessage(0, note)]}, {"b": [SentMessage(0, note)]})
    assert sorted((each.output, each.what) for each in found) == [("a", "missing"), ("b", "new")]
    assert performance_comparison.summary(found) == ["a: 1 missing", "b: 1 new"]


def _sent(*messages: str) -> list[SentMessage]:
    """Each a millisecond after the one before."""
    return [SentMessage(number * MS, bytes.fromhex(message)) for number, message in enumerate(messages)]


_NULL = ("B0 65 7F", "B0 64 7F")


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (
            ("B0 63 01", "B0 62 08", "B0 06 40", *_NULL),
            ("B0 63 01", "B0 62 09", "B0 06 40", *_NULL),
            [
                "missing: channel 1 NRPN 1/8 = 64 (B0 63 01 B0 62 08 B0 06 40)",
                "new: channel 1 NRPN 1/9 = 64 (B0 63 01 B0 62 09 B0 06 40)",
            ],
        ),
        (
            ("B0 65 00", "B0 64 00", "B0 06 02", "B0 26 00"),
            ("B0 65 00", "B0 64 00", "B0 06 02", "B0 26 05"),
            [
                "missing: channel 1 RPN 0/0 = 256 / 14 (B0 65 00 B0 64 00 B0 06 02 B0 26 00)",
                "new: channel 1 RPN 0/0 = 261 / 14 (B0 65 00 B0 64 00 B0 06 02 B0 26 05)",
            ],
        ),
        (
            (),
            ("B0 63 01", "90 3C 40", "B0 62 08", "B0 60 00"),
            [
                "new: channel 1 note on C4 velocity 64 (90 3C 40)",
                "new: channel 1 NRPN 1/8 + 1 (B0 63 01 B0 62 08 B0 60 00)",
            ],
        ),
    ],
)
def test_a_parameter_is_one_thing(before: tuple[str, ...], after: tuple[str, ...], said: list[str]) -> None:
    """Selection and value are compared and described together, with an LSB if one follows."""
    found = differences({"a": _sent(*before)}, {"a": _sent(*after)})
    assert [each.words(SongTime(480)).partition(": ")[2] for each in found] == said


def test_what_selects_and_sets_nothing_is_described_as_it_is() -> None:
    found = differences({"a": _sent("B2 63 01", "B2 62 08")}, {"a": _sent("B2 06 40")})
    assert [(each.what, each.message.hex()) for each in found] == [
        ("missing", "b26301"),
        ("new", "b20640"),
        ("missing", "b26208"),
    ]


def test_parameters_that_are_set_otherwise_are_told_message_by_message() -> None:
    """The values are the same, and yet not the bytes: one side selects the parameter again."""
    once = _sent("B0 63 01", "B0 62 08", "B0 06 40", "B0 06 41")
    again = _sent("B0 63 01", "B0 62 08", "B0 06 40", "B0 62 08", "B0 06 41")
    found = differences({"a": once}, {"a": again}, least=10 * MS)
    assert [(each.what, each.message.hex()) for each in found] == [("new", "b06208")]


_controllers = st.lists(
    st.builds(
        lambda number, value: bytes((0xB0, number, value)),
        st.sampled_from([6, 7, 38, 96, 98, 99, 100, 101, 121]),
        st.sampled_from([0, 1, 127]),
    ),
    max_size=20,
)


@given(_controllers, _controllers)
def test_no_difference_is_hidden_by_a_unit(before: list[bytes], after: list[bytes]) -> None:
    """Other bytes are a difference, whatever they set, and equal ones are none."""
    then, now = ([SentMessage(n * MS, message) for n, message in enumerate(side)] for side in (before, after))
    assert (differences({"a": then}, {"a": now}) == []) == (before == after)
