"""Makes requests of a JACK server one after the other, in a thread of its own, so that nobody else has to wait.

Before the server answers, every program on it has to take note of what changed. For one that does not run, JACK 1.9.21
waits two seconds each time, twice for a change of connections; neither the reader nor the loop could wait for that.
"""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from queue import SimpleQueue
from typing import Final, TypeVar

from engine.ports.port import PortError

_Answer = TypeVar("_Answer")

PATIENCE: Final = 30.0  # seconds for an answer: seven programs that hang
NO_ANSWER: Final = "the JACK server does not answer; another program on it may hang"


class JackRequests:
    """The requests of one client. Any thread."""

    def __init__(self) -> None:
        self._waiting: SimpleQueue[Callable[[], object]] = SimpleQueue()
        self._ending = False
        threading.Thread(target=self._run, name="bayleaf-jack", daemon=True).start()

    def post(self, request: Callable[[], object]) -> None:
        """Have this done after all that was asked for before. It must not raise."""
        self._waiting.put(request)

    def ask(
        self,
        request: Callable[[], _Answer],
        undo: Callable[[_Answer], object] = lambda answer: None,
        patience: float = PATIENCE,
    ) -> _Answer:
        """Have this done, and wait for what it returns or raises.

        Raises PortError after `patience` (s); then it is not done at all, or undone as soon as it was.
        """
        answer: Future[_Answer] = Future()
        self.post(partial(_make, request, answer))
        try:
            return answer.result(patience)
        except TimeoutError:
            if not answer.cancel():
                answer.add_done_callback(partial(self._undo, undo))
            raise PortError(NO_ANSWER) from None
        finally:
            del answer  # or an exception, its frames and this would keep each other

    def end(self) -> None:
        """End the thread once all that was asked for is done."""
        self._ending = True
        self.post(lambda: None)

    def _undo(self, undo: Callable[[_Answer], object], late: Future[_Answer]) -> None:
        if late.exception() is None:
            self.post(partial(undo, late.result()))

    def _run(self) -> None:
        while not self._ending or not self._waiting.empty():
            self._waiting.get()()


def _make(request: Callable[[], _Answer], answer: Future[_Answer]) -> None:
    if not answer.set_running_or_notify_cancel():
        return  # nobody waits any more
    try:
        found = request()
    except Exception as fault:
        answer.set_exception(fault.with_traceback(None))  # without 25 KB of frames
    else:
        answer.set_result(found)
