"""Keeps Python's garbage collector and busy threads from delaying the music.

The collector runs only when nothing plays. Left alone it would stop the show for about 25 ms whenever the compiled
scenes have remembered more answers (see bench/README.md). A busy thread, such as one that reads an edited rig, gives up
Python's lock sooner than usual.
"""

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import trio

_ROUND: Final = 5.0  # seconds between looks
_SWITCH: Final = 0.0005  # seconds until a busy thread lets another one run; Python's default is ten times that
_LONGEST: Final = 120  # rounds without a pause in the music after which it runs all the same


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Exclude everything loaded so far from collection, and collect nothing unless asked."""
    gc.collect()
    gc.freeze()
    gc.disable()
    interval = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH)
    try:
        yield
    finally:
        sys.setswitchinterval(interval)
        gc.enable()
        gc.unfreeze()


async def collect_when_idle(heard: Callable[[], int]) -> None:
    """Collect whenever no message has come since the last look; `heard` counts messages. Runs until cancelled."""
    before, busy_rounds = heard(), 0
    while True:
        await trio.sleep(_ROUND)
        now = heard()
        busy_rounds = busy_rounds + 1 if now != before else 0
        before = now
        if busy_rounds == 0 or busy_rounds >= _LONGEST:
            busy_rounds = 0
            gc.collect()
            gc.freeze()  # what survives is excluded, so the next round looks only at what is new
