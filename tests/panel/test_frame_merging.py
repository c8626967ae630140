"""Frames that a browser did not receive are merged without loss."""

import json
from functools import reduce
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from engine.panel.frame_merging import StatusFrame, lasting, merged

_COUNTS = st.lists(st.integers(0, 9), min_size=2, max_size=2)
_FRAMES = st.fixed_dictionaries(
    {
        "at": st.integers(),
        "activity": st.fixed_dictionaries({"in": _COUNTS, "out": _COUNTS}),
        "events": st.lists(st.integers(), max_size=40),
        "left_out": st.integers(0, 5),
    },
    optional={"scene": st.none() | st.integers(), "health": st.lists(st.text(max_size=3), max_size=2)},
)


@given(st.lists(_FRAMES, min_size=1, max_size=8))
def test_what_was_missed_is_put_together(frames: list[dict[str, Any]]) -> None:
    """Many frames become one: the last value of everything, all messages counted, the newest forty shown."""
    one = reduce(merged, frames)
    last: dict[str, Any] = {}
    for frame in frames:
        last |= lasting(frame)
    assert lasting(one) == last
    for way in ("in", "out"):
        assert one["activity"][way] == [
            sum(counts) for counts in zip(*(f["activity"][way] for f in frames), strict=True)
        ]
    shown = [event for frame in frames for event in frame["events"]]
    assert one["events"] == shown[-40:]
    assert len(one["events"]) + one["left_out"] == len(shown) + sum(frame["left_out"] for frame in frames)


@given(st.lists(st.integers(0, 70), min_size=2, max_size=6))
def test_no_sentence_is_missed(many: list[int]) -> None:
    """The newest hundred reports that a browser missed come with the next frame; none comes twice."""
    told = [{"at": at, "who": "keys", "text": str(at)} for at in range(sum(many))]
    frames = [{"at": at, "told": told[sum(many[:at]) : sum(many[: at + 1])]} for at in range(len(many))]
    one = reduce(merged, frames)
    assert one["told"] == told[-100:]
    assert merged(one, frames[-1])["told"] == one["told"]


def test_a_port_that_an_edit_added_counts_from_nothing() -> None:
    """A frame from before an edit may have fewer ports than one after it; the new port counts from 0."""
    earlier, later = {"activity": {"in": [3], "out": []}}, {"activity": {"in": [1, 2], "out": [5]}}
    assert merged(earlier, later)["activity"] == {"in": [4, 2], "out": [5]}


def test_messages_are_only_for_those_who_asked() -> None:
    """The plain text of a frame has neither the messages nor the number left out."""
    frame = StatusFrame({"at": 1, "events": [1], "left_out": 2})
    assert json.loads(frame.whole) == {"frame": {"at": 1, "events": [1], "left_out": 2}}
    assert json.loads(frame.plain) == {"frame": {"at": 1}}
