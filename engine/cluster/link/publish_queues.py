"""Threads that hand messages on, so that whoever publishes never waits for a slow machine."""

import threading
import time
from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from typing import Final

from engine.processor import any_of_them

Said = tuple[str, bytes]  # key, payload
HandOn = Callable[[Sequence[Said]], None]

_MOST: Final = 20_000  # messages that may wait in a lane: more than a second of anything a rig can say
#: seconds from one handing on to the next: what comes in between goes together. One put for each message would fill a
#: core at 20,000 messages a second (bench/netcosts.py)
_GAP: Final = 0.0005


class PublishQueue:
    """One queue and one thread; what is put in first is handed on first."""

    def __init__(self, name: str, hand_on: HandOn, failed: Callable[[int], None]) -> None:
        """`hand_on` gets all that waits, in its order; `failed` is told how many messages could not be handed on.
        Both are called in the lane's thread, `failed` in any."""
        self._hand_on = hand_on
        self._failed = failed
        self._waiting: SimpleQueue[Said | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name=f"link {name}", daemon=True)
        self._thread.start()

    def put(self, key: str, payload: bytes) -> None:
        """Hand this on after all that came before. Never blocks; any thread."""
        if self._waiting.qsize() >= _MOST:
            self._failed(1)
        else:
            self._waiting.put((key, payload))

    def end(self) -> None:
        """Stop when what waits now is handed on; see `wait`."""
        self._waiting.put(None)

    def wait(self, timeout_s: float) -> None:
        """Until it has stopped, or for so long."""
        self._thread.join(timeout_s)

    def _run(self) -> None:
        any_of_them()
        goes_on = True
        while goes_on:
            first = self._waiting.get()
            begun = time.monotonic()
            items = [first, *self._more()]
            goes_on = None not in items
            said = [item for item in items if item is not None]
            try:
                self._hand_on(said)
            except Exception:
                self._failed(len(said))
            time.sleep(max(0.0, begun + _GAP - time.monotonic()))

    def _more(self) -> list[Said | None]:
        more: list[Said | None] = []
        try:
            while True:
                more.append(self._waiting.get_nowait())
        except Empty:
            return more
