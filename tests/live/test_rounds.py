"""Rounds begin together. No outside source."""

import pytest
import trio
from trio.testing import MockClock

from engine.live.rounds import ROUND, next_round


@pytest.mark.parametrize("rounds", [1, 2])
async def test_those_who_began_at_any_time_wake_together(autojump_clock: MockClock, rounds: int) -> None:
    """After half a period at least, and one and a half at most, and then one period after the other."""
    woke: dict[float, list[float]] = {}

    async def look(late: float) -> None:
        await trio.sleep(late)
        begun = trio.current_time()
        await next_round(rounds)
        assert 0.49 * rounds * ROUND < trio.current_time() - begun < 1.51 * rounds * ROUND
        for _ in range(3):
            await next_round(rounds)
            woke.setdefault(late, []).append(trio.current_time())

    async with trio.open_nursery() as nursery:
        for late in range(10):
            nursery.start_soon(look, late * ROUND / 13)
    moments = sorted({round(at / ROUND, 6) for each in woke.values() for at in each})
    assert all(at % rounds == pytest.approx(moments[0] % rounds) for at in moments)
    assert len(moments) <= 4
