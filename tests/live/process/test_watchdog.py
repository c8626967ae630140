"""A sign of life that goes when the loop is stuck. (Our own design; no outside source.)"""

import threading
from functools import partial

import trio

from engine.live.process.watchdog import ALONE, REPLACED, Watchdog
from tests.support.standby_world import World


class Token:
    """What the watchdog puts up and takes down, with a clock that is set by hand."""

    def __init__(self, stuck_s: float = REPLACED) -> None:
        self.now = 0.0
        self.said: list[str] = []
        up, down = (partial(self.said.append, word) for word in ("up", "down"))
        self.watchdog = Watchdog(up, down, lambda: stuck_s, lambda: self.now)

    def passes(self, seconds: float) -> None:
        self.now += seconds
        self.watchdog.look()


def test_it_is_up_while_the_loop_beats_and_down_while_it_does_not() -> None:
    """After 150 ms without a beat it goes down, once; the next beat puts it up again."""
    token = Token()
    for _ in range(20):
        token.watchdog.beat()
        token.passes(0.02)
    assert token.said == ["up"]
    token.passes(0.12)
    assert token.said == ["up"]
    token.passes(0.02)
    token.passes(1.0)
    assert token.said == ["up", "down"]
    token.watchdog.beat()
    token.passes(0.01)
    assert token.said == ["up", "down", "up"]
    assert token.watchdog.times_stuck == 1


def test_it_is_more_patient_where_no_other_program_could_take_over() -> None:
    """A loop that is late for less than a second keeps its sign of life: its notes are late, and none is cut off."""
    token = Token(ALONE)
    token.watchdog.beat()
    token.passes(0.0)
    token.passes(0.98)
    assert token.said == ["up"]
    token.passes(0.04)
    assert token.said == ["up", "down"]


def test_an_engine_is_patient_while_no_standby_is_there() -> None:
    """What counts is whether the other engine gives signs of life, not whether the rig names one."""
    world = World()
    patience = world.engines["desk"].joined._watchdog._patience
    assert patience() == REPLACED
    world.kill("spare")
    world.run(1000)
    assert patience() == ALONE
    world.start("spare")
    world.run(1000)
    assert patience() == REPLACED


async def test_it_runs_in_a_thread_of_its_own() -> None:
    """A stuck loop is noticed while it is stuck, and the token is down at the end."""
    up, down = threading.Event(), threading.Event()
    watchdog = Watchdog(up.set, down.set, lambda: REPLACED)
    with trio.fail_after(30):
        async with trio.open_nursery() as nursery:
            nursery.start_soon(watchdog.run)
            assert await trio.to_thread.run_sync(up.wait, 20)
            assert down.wait(20)  # blocks the loop meanwhile
            up.clear()
            assert await trio.to_thread.run_sync(up.wait, 20)
            down.clear()
            nursery.cancel_scope.cancel()
    assert down.wait(20)
