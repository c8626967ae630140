"""Queues of messages to be sent, each with a thread of its own, so that publishing never waits for a slow machine."""

import threading
import time
from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from typing import Final

from engine.processor import any_of_them

Said = tuple[str, bytes]  # key, payload
HandOn = Callable[[Sequence[Said]], None]

_MOST: Final = 20_000  # messages that may wait: more than a second of the busiest rig
#: seconds from one sending to the next; what comes in between is sent together. One network message for each would
#: fill a core at 20,000 messages per second (bench/netcosts.py)
_GAP: Final = 0.0005


class PublishQueue:
    """One queue and one thread; messages are sent in the order they were put in."""

    def __init__(self, name: str, hand_on: HandOn, failed: Callable[[int], None]) -> None:
        """`hand_on` gets everything that waits, in order; `failed` gets the number of messages that could not be sent.
        `hand_on` is called in the queue's thread, `failed` in any."""
        self._hand_on = hand_on
        self._failed = failed
        self._waiting: SimpleQueue[Said | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name=f"link {name}", daemon=True)
        self._thread.start()

    def put(self, key: str, payload: bytes) -> None:
        """Send this after everything that was put in before. Never blocks; any thread."""
        if self._waiting.qsize() >= _MOST:
            self._failed(1)
        else:
            self._waiting.put((key, payload))

    def end(self) -> None:
        """Stop when everything that waits now is sent; see `wait`."""
        self._waiting.put(None)

    def wait(self, timeout_s: float) -> None:
        """Block until it has stopped, or for this long."""
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
