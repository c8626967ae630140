"""How often requests from outside are obeyed."""

from hypothesis import given
from hypothesis import strategies as st

from engine.core.control.request_budget import RequestBudget

SECOND = 1_000_000_000


@given(st.integers(1, 300), st.integers(1, 64), st.lists(st.integers(0, SECOND // 10), max_size=300))
def test_no_second_has_more_than_its_share(per_second: int, at_once: int, gaps: list[int]) -> None:
    """Whenever requests come, no stretch of time has more of them than those at once and those of its length."""
    budget, now, obeyed = RequestBudget(per_second, at_once), 0, list[int]()
    for gap in gaps:
        now += gap
        if budget.admits(now):
            obeyed.append(now)
    for first, begun in enumerate(obeyed):
        for last in range(first, len(obeyed)):
            within = obeyed[last] - begun
            assert last - first + 1 <= at_once + within * (per_second + 1) // SECOND + 1


def test_who_asks_seldom_is_always_obeyed() -> None:
    """Requests that keep to the pace are all obeyed, also after a flood."""
    budget = RequestBudget(100, 4)
    assert sum(budget.admits(0) for _ in range(1000)) == 4
    assert all(budget.admits(at * SECOND // 100) for at in range(1, 1000))
