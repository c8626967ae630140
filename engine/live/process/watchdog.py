"""Shows other machines that this program works: the sign of life disappears when its loop is stuck."""

import threading
import time
from collections.abc import Callable
from typing import Final

import trio

from engine.live.process.worker_threads import to_its_end
from engine.processor import any_of_them

_BEAT: Final = 0.02  # seconds between two beats of the loop
#: seconds without a beat after which the loop is stuck: another engine should take over before the audience notices
REPLACED: Final = 0.15
#: the same where no other program could take over: a late note is better than none
ALONE: Final = 1.0
_LOOK: Final = 0.01


class Watchdog:
    """`alive` shows the sign of life, `gone` removes it; both are called in other threads, and may block."""

    def __init__(
        self,
        alive: Callable[[], None],
        gone: Callable[[], None],
        patience: Callable[[], float],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """`patience`: REPLACED or ALONE, as it is now; asked in the watchdog's thread."""
        self.times_stuck = 0
        self._alive, self._gone = alive, gone
        self._clock = clock
        self._patience = patience
        self._beat_at = clock()
        self._up = False
        self._ending = threading.Event()

    async def run(self) -> None:
        """Until cancelled; the sign of life is removed at the end."""
        watcher = threading.Thread(target=self._watch, name="bayleaf-watchdog", daemon=True)
        self.beat()
        watcher.start()
        try:
            while True:
                self.beat()
                await trio.sleep(_BEAT)
        finally:
            self._ending.set()
            with trio.CancelScope(shield=True):
                await to_its_end(watcher.join)

    def beat(self) -> None:
        """The loop runs."""
        self._beat_at = self._clock()

    def look(self) -> None:  # watchdog's thread
        """Show or remove the sign as is due."""
        stuck = self._clock() - self._beat_at > self._patience()
        if stuck and self._up:
            self._up = False
            self.times_stuck += 1
            self._gone()
        elif not stuck and not self._up:
            self._up = True
            self._alive()

    def _watch(self) -> None:  # watchdog's thread
        any_of_them()  # on another processor than the loop, which may be blocking its own
        while not self._ending.wait(_LOOK):
            self.look()
        if self._up:
            self._gone()
