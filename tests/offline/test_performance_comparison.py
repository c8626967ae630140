"""What differs between two performances."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.offline import performance_comparison
from engine.offline.performance_comparison import SentMessage, differences
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
