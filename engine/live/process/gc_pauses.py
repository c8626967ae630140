"""Keeps Python's garbage collector and busy threads out of the music.

The collector is frozen after load and runs only when nothing plays. A thread that reads an edited rig gives way soon.

Left alone it stops the show for some 25 ms whenever the plans' memories have grown (see bench/README.md).
"""

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import trio

_ROUND: Final = 5.0  # seconds between looks
_SWITCH: Final = 0.0005  # seconds until a busy thread lets another one on; Python's own is ten times that
_LONGEST: Final = 120  # rounds without a pause after which it runs all the same


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """What is loaded now is never looked at again, and nothing is collected unasked."""
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
    """Collect whenever no message came since the last look; `heard` counts messages. Runs until cancelled."""
    before, busy_rounds = heard(), 0
    while True:
        await trio.sleep(_ROUND)
        now = heard()
        busy_rounds = busy_rounds + 1 if now != before else 0
        before = now
        if busy_rounds == 0 or busy_rounds >= _LONGEST:
            busy_rounds = 0
            gc.collect()
            gc.freeze()  # what survives is looked at no more: the next round costs only what is new
