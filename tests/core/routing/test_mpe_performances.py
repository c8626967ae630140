"""Random MPE performances: every finger's note sounds as high as the finger bends it, and nothing stays behind."""

import pytest

from tests.support.mpe_performances import play


@pytest.mark.parametrize("first", range(0, 40, 10))
def test_nothing_is_left_hanging_bent_or_pressed(first: int) -> None:
    """Ten performances with recalls, panics and pulled cables; `tests/support/mpe_performances.py` plays any number."""
    for seed in range(first, first + 10):
        play(seed)


def test_what_a_pedal_held_until_it_was_lifted_comes_to_rest() -> None:
    """Of 10,000 performances this one had found a bend that stayed."""
    play(5300)


def test_a_member_that_came_to_rest_is_bent_again() -> None:
    """This one had found that a recall sets members to rest of which a filter thinks that they are bent."""
    play(230035)
