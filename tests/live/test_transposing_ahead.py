"""Scenes are made ready beside the music when the foot transposes. (Our own design; no outside source.)"""

import trio

from engine.core.commands import ChooseSong, NextScene, RecallScene, Transpose
from engine.live.transposing_ahead import transpose_ahead
from tests.core.control.test_songs import RIG
from tests.support.small_show import Bench
from tests.support.waiting import eventually


async def test_after_a_step_a_recall_makes_nothing() -> None:
    """Six scenes as the step alone transposes them, four with their songs, and the one of no song with each song."""
    show = Bench(RIG).show
    show.apply(RecallScene(1))
    made = show.engine.state.scenes._by_foot
    async with trio.open_nursery() as nursery:
        nursery.start_soon(transpose_ahead, show)
        show.apply(Transpose(1))
        await eventually(lambda: len(made) == 12)
        ahead = dict(made)
        for song in ("Market", "Bridge", "Harbour"):
            show.apply(ChooseSong(song))
            show.apply(NextScene())
        show.apply(RecallScene(6))
        nursery.cancel_scope.cancel()
    assert made == ahead
    assert sorted(number for number, _ in made) == [1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6, 6]
