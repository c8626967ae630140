"""What differs between two performances."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from engine.offline import compare
from engine.offline.compare import Said, differences
from engine.offline.meter import Meter

MS = 1_000_000
said = st.lists(
    st.builds(
        Said, st.integers(0, 500).map(lambda ms: ms * MS), st.sampled_from([bytes((0x90, n, 1)) for n in range(6)])
    ),
    max_size=40,
).map(lambda listed: sorted(listed, key=lambda each: each.at))


@given(said, said, st.booleans())
def test_the_differences_make_the_one_of_the_other(before: list[Said], after: list[Said], far_apart: bool) -> None:
    """What is missing and new is just what one side has more of; equal sides differ in nothing. The same holds for the
    way that is taken where too much differs to search."""
    searched, compare._TO_SEARCH = compare._TO_SEARCH, -1 if far_apart else compare._TO_SEARCH
    try:
        found = differences({"a": before}, {"a": after})
        assert differences({"a": before}, {"a": before}) == []
    finally:
        compare._TO_SEARCH = searched
    missing, new = (Counter(each.message for each in found if each.what == what) for what in ("missing", "new"))
    then, now = (Counter(each.message for each in side) for side in (before, after))
    assert then - missing + new == now
    if far_apart:
        assert missing == then - now
        assert new == now - then
    assert [each.at for each in found] == sorted(each.at for each in found)


def test_a_message_that_moved_is_told_with_how_far() -> None:
    """Later and earlier are told in milliseconds with place and words; less than a tenth of one is nothing."""
    note = b"\x90\x3c\x40"
    (found,) = differences({"a": [Said(1000 * MS, note)]}, {"a": [Said(1012 * MS, note)]})
    assert found.words(Meter(480)) == (
        "a at 0:01.000, bar 1:3: 12.0 ms later: channel 1 note on C4 velocity 64 (90 3C 40)"
    )
    assert differences({"a": [Said(1000 * MS, note)]}, {"a": [Said(1000 * MS + 99_999, note)]}) == []


def test_an_output_that_only_one_side_has_is_all_difference() -> None:
    """What an output got that is new or gone is new or missing, message by message."""
    note = b"\x90\x3c\x40"
    found = differences({"a": [Said(0, note)]}, {"b": [Said(0, note)]})
    assert sorted((each.output, each.what) for each in found) == [("a", "missing"), ("b", "new")]
    assert compare.summary(found) == ["a: 1 missing", "b: 1 new"]
