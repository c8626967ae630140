"""One browser's live socket: passes its requests to the engine, and answers and frames back to it.

A slow browser holds nothing up: frames that it has not taken are merged into one, the next long answer is asked for
when it has taken the last, and one that lets too many short ones wait is disconnected. Requests beyond its pace wait.
"""

import json
from collections import deque
from collections.abc import Awaitable, Callable
from typing import Any, Final

import trio
from starlette.websockets import WebSocket, WebSocketDisconnect

from engine.panel.engine_follower import EngineFollower
from engine.panel.engine_socket import EngineUnanswered, ask
from engine.panel.frame_merging import Facts, StatusFrame, merged
from engine.panel.paired_browsers import Role
from engine.panel.rate_limit import RateBucket, RatePace
from engine.panel.shared_looks import SharedLooks
from engine.protocol import OF_THE_PANEL, AnswerCode, Lane, RequestError, refused, row_of

LONGEST: Final = 1 << 18  # bytes of a message from a browser: a long chain or burst
_LARGEST: Final = 1 << 53  # integers up to here are exact in every browser

_WAITING: Final = 16  # requests of one lane
_MOST_NEWS: Final = 1000  # answers that wait for one browser
_PACE: Final = RatePace(40, 0.1)  # requests of one browser in one lane, and to the panel itself
_LONG: Final[Lane] = "bench"  # the lane of answers as long as a whole rig
_MAY: Final[tuple[Role, ...]] = ("view", "show", "operate")  # each may ask what those before it may
_MAY_NOT: Final = {
    "view": "this browser may look but not operate; pair it with the other code",
    "show": "this browser may run the show and change nothing else; pair it with another code",
}
#: seconds that an answer may take, by lane: panic waits for nothing, the show not for the bench
_LANES: Final[dict[Lane, float]] = {"panic": 5.0, "show": 5.0, "bench": 30.0}


class BrowserSocket:
    """Serves one socket until the browser disconnects."""

    def __init__(
        self,
        socket: WebSocket,
        role: Role,
        engine: str,
        follower: EngineFollower,
        looks: SharedLooks,
        own: Callable[[Facts], Awaitable[Facts]],
    ) -> None:
        """`engine`: its name; `own` answers what the panel itself is asked."""
        self._socket = socket
        self._role = role
        self._engine = engine
        self._follower = follower
        self._looks = looks
        self._own = own
        self._pace = RateBucket(_PACE)
        self._news: deque[str] = deque()
        self._missed: StatusFrame | None = None
        self._away = False
        self._something = trio.Event()
        self._taken = trio.Event()
        self._lanes: dict[Lane, trio.MemorySendChannel[tuple[int, Facts]]] = {}
        self._scope = trio.CancelScope()
        self._tasks: trio.Nursery
        self._ending: tuple[int, str] | None = None
        self.awake = True
        self.events = False

    async def run(self) -> None:
        """Until the browser disconnects or `end` is called."""
        await self._socket.accept()
        with self._scope:
            await self._serve()
        if self._ending is not None:
            await self._socket.close(*self._ending)

    def end(self, code: int, reason: str) -> None:
        """Close the socket with this code (RFC 6455 section 7.4)."""
        self._ending = (code, reason)
        self._scope.cancel()

    async def _serve(self) -> None:
        async with trio.open_nursery() as nursery:
            self._tasks = nursery
            self._say({"role": self._role})
            for lane, patience in _LANES.items():
                self._lanes[lane], waiting = trio.open_memory_channel[tuple[int, Facts]](_WAITING)
                nursery.start_soon(self._pass_on, waiting, patience, lane)
            nursery.start_soon(self._send)
            self._follower.join(self)
            try:
                await self._listen()
            finally:
                self._follower.leave(self)
            nursery.cancel_scope.cancel()

    # From the follower

    def frame(self, frame: StatusFrame) -> None:
        """Send this frame next, merged with what the browser has not taken yet."""
        if self._away:
            self._away = False
            self._say({"back": True})
        self._missed = frame if self._missed is None else StatusFrame(merged(self._missed.facts, frame.facts))
        self._something.set()

    def gone(self, text: str) -> None:
        """The engine does not answer."""
        self._missed, self._away = None, True
        self._say({"gone": text})

    # From the browser

    async def _listen(self) -> None:
        try:
            while True:
                text = await self._socket.receive_text()
                if not self._heed(_parsed(text)):
                    self.end(1003, "that is not a message of this page")
                    return
        except WebSocketDisconnect:
            return

    def _heed(self, said: Facts | None) -> bool:
        """Whether the message was one of the protocol."""
        if said is None:
            return False
        number = said.get("id")
        if type(number) is int and abs(number) < _LARGEST and isinstance(said.get("ask"), dict):
            self._asked(number, said["ask"])
            return True
        if type(said.get("events")) is bool:
            self.events = said["events"]
        elif type(said.get("rest")) is bool:
            self.awake, self._missed = not said["rest"], None
        else:
            return False
        self._follower.changed(self)
        return True

    def _asked(self, number: int, request: Facts) -> None:
        if request.get("do") in OF_THE_PANEL:
            self._ask_panel(number, request)
            return
        try:
            row = row_of(request)
        except RequestError as fault:
            self._refuse(number, fault.code, str(fault))
            return
        if row.role == "shell":
            self._refuse(number, AnswerCode.NOT_ALLOWED, "a browser cannot ask that; nothing was done")
        elif _MAY.index(self._role) < _MAY.index(row.role):
            self._refuse(number, AnswerCode.NOT_ALLOWED, _MAY_NOT[self._role])
        else:
            try:
                self._lanes[row.lane].send_nowait((number, request))
            except trio.WouldBlock:
                text = "the engine is still busy with earlier requests; nothing was done"
                self._refuse(number, AnswerCode.BUSY, text)

    def _ask_panel(self, number: int, request: Facts) -> None:
        if self._pace.wait(trio.current_time()) > 0:
            self._refuse(number, AnswerCode.TOO_MANY, "too many requests at once; nothing was done")
            return
        self._pace.take()
        self._tasks.start_soon(self._answer_panel, number, request)

    async def _answer_panel(self, number: int, request: Facts) -> None:
        self._say({"id": number, "answer": await self._own(request)})

    async def _pass_on(
        self, waiting: trio.MemoryReceiveChannel[tuple[int, Facts]], patience: float, lane: Lane
    ) -> None:
        """Pass requests on one by one, each on a new connection: an old one may belong to an engine that has ended.

        What comes faster than the pace waits for it, so that somebody who edits quickly loses nothing. Panic does not.
        """
        pace = RateBucket(_PACE)
        async for number, request in waiting:
            if lane != "panic":
                await trio.sleep(pace.wait(trio.current_time()))
                pace.take()
            try:
                answer = await self._answer(request, patience)
            except EngineUnanswered as fault:
                self._refuse(number, AnswerCode.NO_ENGINE, str(fault))
            else:
                self._add(f'{{"id": {number}, "answer": {answer}}}')
            if lane == _LONG:
                await self._taken.wait()

    async def _answer(self, request: Facts, patience: float) -> str:
        row = row_of(request)
        if row.serves == "one":
            return await ask(self._engine, request, patience)
        return await self._looks.answer(request, row, self._role)

    # To the browser

    def _refuse(self, number: int, code: AnswerCode, text: str) -> None:
        self._say({"id": number, "answer": refused(code, text).plain()})

    def _say(self, news: dict[str, Any]) -> None:
        self._add(json.dumps(news))

    def _add(self, news: str) -> None:
        self._news.append(news)
        self._something.set()
        if len(self._news) > _MOST_NEWS:
            self._news.clear()
            self.end(1008, "this browser does not read its answers")

    async def _send(self) -> None:
        while True:
            await self._something.wait()
            self._something = trio.Event()
            while self._news:
                await self._socket.send_text(self._news.popleft())
            self._taken.set()
            self._taken = trio.Event()
            if (frame := self._missed) is not None:
                self._missed = None
                await self._socket.send_text(frame.whole if self.events else frame.plain)


def _parsed(text: str) -> Facts | None:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError, TypeError):  # TypeError: it sent bytes, so there is no text
        return None
    return said if isinstance(said, dict) else None
