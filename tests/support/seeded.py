"""Random values made by Python's own generator from a seed that hypothesis draws, since it takes long for each draw."""

from collections.abc import Callable
from random import Random
from typing import TypeVar

from hypothesis import strategies as st

T = TypeVar("T")

_SEEDS = st.integers(0, (1 << 24) - 1)


@st.composite
def seeded(draw: st.DrawFn, one: Callable[[Random], T]) -> T:
    """What `one` makes."""
    return one(Random(draw(_SEEDS)))


@st.composite
def seeded_list(draw: st.DrawFn, one: Callable[[Random], T], most: int, least: int = 0) -> list[T]:
    """Lists of what `one` makes, every length as often as any other. A shorter list is the beginning of a longer one
    with the same seed, so that hypothesis shortens one that fails."""
    length, dice = draw(st.integers(least, most)), Random(draw(_SEEDS))
    return [one(dice) for _ in range(length)]
