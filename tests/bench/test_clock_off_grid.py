"""Clocks against an even grid, in frames of a server that may miss periods. No outside source."""

import pytest

from bench.onjack import BPM, JUMP, off_grid

RATE = 48_000
SPACING = RATE * 60 // (24 * BPM)  # frames
SECOND = 24 * BPM // 60  # clocks


def even(since: int, clocks: int) -> list[int]:
    """Clocks without a fault."""
    return [since + number * SPACING for number in range(clocks)]


def test_clocks_on_the_grid() -> None:
    """Wherever it begins."""
    assert off_grid(RATE, even(12_345, 3 * SECOND)) == [0.0] * 3 * SECOND


def test_one_clock_is_late() -> None:
    """By its frames, in ns."""
    frames = even(0, 3 * SECOND)
    frames[50] += 48
    assert sorted(off_grid(RATE, frames))[-2:] == pytest.approx([0, 1_000_000])


def test_a_jump_of_the_servers_count_begins_another_grid() -> None:
    """The two seconds after it are left out."""
    late = even(1_000_003, 5 * SECOND)
    late[10] += 99
    assert off_grid(RATE, [*even(0, 2 * SECOND), JUMP, *late]) == [0.0] * (2 + 3) * SECOND


def test_stretches_of_less_than_a_second_say_nothing() -> None:
    """A single clock is always on its own grid."""
    assert off_grid(RATE, [*even(0, SECOND - 1), JUMP, *even(7, 3 * SECOND - 1), JUMP]) == []
