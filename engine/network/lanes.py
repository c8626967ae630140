"""Threads that hand messages on, so that whoever publishes never waits for a slow machine."""

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Final

Put = Callable[[bytes], None]

_MOST: Final = 20_000  # messages that may wait in a lane: more than a second of anything a rig can say


class Lane:
    """One queue and one thread; what is put in first is handed on first."""

    def __init__(self, name: str, declare: Callable[[str], Put], failed: Callable[[], None]) -> None:
        """`declare` makes the way for one key, when it is first needed; `failed` is told of each message that could not
        be handed on. Both are called in the lane's thread, `failed` in any."""
        self._declare = declare
        self._failed = failed
        self._ways: dict[str, Put] = {}
        self._waiting: SimpleQueue[tuple[str, bytes] | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._hand_on, name=f"link {name}", daemon=True)
        self._thread.start()

    def put(self, key: str, payload: bytes) -> None:
        """Hand this on after all that came before. Never blocks; any thread."""
        if self._waiting.qsize() >= _MOST:
            self._failed()
        else:
            self._waiting.put((key, payload))

    def end(self) -> None:
        """Stop when what waits now is handed on; see `wait`."""
        self._waiting.put(None)

    def wait(self, timeout_s: float) -> None:
        """Until it has stopped, or for so long."""
        self._thread.join(timeout_s)

    def _hand_on(self) -> None:
        while (item := self._waiting.get()) is not None:
            key, payload = item
            try:
                if key not in self._ways:
                    self._ways[key] = self._declare(key)
                self._ways[key](payload)
            except Exception:
                self._failed()
