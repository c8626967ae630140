"""Answers that cost more than the loop may spend: made and written in a worker thread, one after another.

However many ask, one thread at a time competes with the music for Python's lock. What every asker causes again is
followed by a rest, so that all of it together takes a hundredth of the time.
"""

from functools import partial
from typing import Final

import trio

from engine.live.process.worker_threads import in_a_thread
from engine.live.socket.json_lines import large_line, line_of
from engine.protocol import Answer, AnswerCode, Handler, Request, refused

_MOST: Final = 32  # requests that wait
_REST: Final = 99  # times as long as the answer took
_LONGEST_REST: Final = 10.0  # seconds


class AnswerQueue:
    """For all connections, of which each has one request here, so they take turns."""

    def __init__(self) -> None:
        self._making = trio.Lock()
        self._paced = trio.Lock()
        self._rests_until = 0.0
        self._waiting = 0

    async def answer(self, handler: Handler, request: Request, paced: bool) -> bytes:
        """The answer as a line. `paced`: it waits for the rest after the one before, and is followed by one."""
        if self._waiting >= _MOST:
            text = f"{_MOST} other requests wait for an answer; nothing was done. Try again later"
            return line_of(refused(AnswerCode.TOO_MANY, text).plain())
        self._waiting += 1
        try:
            return await (self._at_pace(handler, request) if paced else self._made(handler, request))
        finally:
            self._waiting -= 1

    async def _at_pace(self, handler: Handler, request: Request) -> bytes:
        async with self._paced:
            await trio.sleep_until(self._rests_until)
            began = trio.current_time()
            try:
                return await self._made(handler, request)
            finally:
                now = trio.current_time()
                self._rests_until = now + min(_LONGEST_REST, _REST * (now - began))

    async def _made(self, handler: Handler, request: Request) -> bytes:
        async with self._making:
            answer: Answer = await handler(request)
            return await in_a_thread(partial(large_line, answer.plain()))
