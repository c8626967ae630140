"""Tests of the fixed work that shows how much of a spread is the machine's."""

import pytest

from bench.machine import FixedWork


def test_fixed_work_is_made_as_long_as_what_it_is_compared_with(monkeypatch: pytest.MonkeyPatch) -> None:
    """The median of its turns decides by how much it grows; a clock that stands still changes nothing."""
    now = [0]

    def clock() -> int:
        now[0] += 500
        return now[0]

    work = FixedWork()
    monkeypatch.setattr("bench.machine.time.perf_counter_ns", clock)
    for _ in range(3):
        work.turn()
    assert work.took == [500, 500, 500]
    before = _looked_up(work)
    work.turn()
    work.last(2000)
    assert work.took == []
    assert _looked_up(work) == 4 * before
    monkeypatch.setattr("bench.machine.time.perf_counter_ns", lambda: 0)
    work.took.clear()
    work.turn()
    work.last(2000)
    assert _looked_up(work) == 4 * before


def _looked_up(work: FixedWork) -> int:
    """How many objects a turn looks up."""

    class Counting(dict[bytes, tuple[int, int, list[int]]]):
        """A table that counts."""

        asked = 0

        def __getitem__(self, key: bytes) -> tuple[int, int, list[int]]:
            self.asked += 1
            return super().__getitem__(key)

    whole, work.table = work.table, Counting(work.table)
    counting = work.table
    work.turn()
    work.took.pop()
    work.table = whole
    return counting.asked
