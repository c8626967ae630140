"""A thread that runs calls one after another, for those that must not be made where they are decided on.

zenoh must not be called from within its own callbacks; what such a callback needs from zenoh is put here.
"""

import threading
from collections.abc import Callable
from queue import SimpleQueue

Call = Callable[[], None]


class DeferredCalls:
    """Any thread may put calls in."""

    def __init__(self, name: str, run: Callable[[Call], None]) -> None:
        """`run` makes one call in the thread, and must not raise."""
        self._run_one = run
        self._ended = False
        self._calls: SimpleQueue[Call | None] = SimpleQueue()
        threading.Thread(target=self._run, name=name, daemon=True).start()

    def put(self, call: Call) -> None:
        """Make this call after those put in before; not after the end. Never blocks."""
        if not self._ended:
            self._calls.put(call)

    def end(self) -> None:
        """End the thread after the calls that wait. Does not block."""
        self._ended = True
        self._calls.put(None)

    def _run(self) -> None:
        while (call := self._calls.get()) is not None:
            self._run_one(call)
