"""Turns of the loop that the reader wakes it for."""

import itertools
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import pytest
import trio
import trio.lowlevel
import trio.testing

from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.reader import EARLY
from engine.live.show import Show
from tests.support.in_music_loop import in_music_loop


class Turning:
    """Stands in for a show: notes when it is pumped. Each pump that meets the beat moves it to the next."""

    def __init__(self, *beats: int) -> None:
        self._beats = list(beats)
        self.reader: Any = SimpleNamespace(beat=self._beats[0] if self._beats else None)
        self.pumped_at: list[int] = []
        self.over = trio.Event()

    def pump(self) -> None:
        now = time.monotonic_ns()
        self.pumped_at.append(now)
        while self._beats and self._beats[0] <= now:
            del self._beats[0]
        self.reader.beat = self._beats[0] if self._beats else None
        self.over.set()


@pytest.fixture
def ticking(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock that goes on by 0.01 ms whenever it is read, so that no beat passes while the test has no processor."""
    clock = itertools.count(time.monotonic_ns(), 10_000)
    monkeypatch.setattr(time, "monotonic_ns", lambda: next(clock))


async def turned(show: Turning) -> list[int]:
    """When one wake-up pumped the show."""
    waker(cast(Show, show))()
    await show.over.wait()
    return show.pumped_at


@in_music_loop
async def test_a_turn_just_before_a_beat_ends_with_it(ticking: None) -> None:
    """What is due at the beat is sent then, not at the next wake-up."""
    beat = time.monotonic_ns() + EARLY // 2
    first, second = await turned(Turning(beat))
    assert first < beat <= second


@in_music_loop
async def test_two_beats_that_are_near_are_both_kept(ticking: None) -> None:
    """Clock and time code may be due in quick succession."""
    now = time.monotonic_ns()
    beats = (now + EARLY // 2, now + EARLY)
    first, second, third = await turned(Turning(*beats))
    assert first < beats[0] <= second < beats[1] <= third


@in_music_loop
async def test_a_beat_that_is_far_away_keeps_nobody() -> None:
    """The loop waits only for a beat that is about to come, not for a distant or a past one."""
    assert len(await turned(Turning(time.monotonic_ns() + 3_600_000_000_000))) == 1
    assert len(await turned(Turning())) == 1


@in_music_loop
async def test_asking_again_before_the_turn_begins_is_one_turn() -> None:
    """It takes all that has arrived by then; whoever asks once it has begun is given another."""
    show = Turning()
    wake = waker(cast(Show, show))
    for turns in (1, 2):
        for _ in range(5):
            wake()
        await trio.testing.wait_all_tasks_blocked()
        await trio.lowlevel.checkpoint()
        assert len(show.pumped_at) == turns


def test_a_poke_after_the_end_does_nothing() -> None:
    """The reader may still wake the loop after its end; nothing is played and nothing is raised."""
    show = Turning()

    async def play() -> Callable[[], None]:
        return waker(cast(Show, show))

    wake = music_loop.run(play)
    wake()
    assert show.pumped_at == []
