"""One browser's socket: what it asks goes to the engine, what the engine tells goes to it.

Nothing of it is kept waiting for it: answers are few, and of frames it gets one at a time, what it missed put together.
"""

import json
from collections import deque
from typing import Any, Final

import trio
from starlette.websockets import WebSocket, WebSocketDisconnect

from engine.panel.engine_follower import EngineFollower
from engine.panel.engine_socket import EngineUnanswered, ask
from engine.panel.frame_merging import Facts, StatusFrame, merged
from engine.panel.pairing import Role
from engine.panel.rate_limit import RateBucket, RatePace

LONGEST: Final = 1 << 18  # bytes of a message from a browser: a long chain or burst
_LARGEST: Final = 1 << 53  # whole numbers up to here are the same in every browser

_VIEW: Final = frozenset(("rig", "filters", "status", "explain", "ports", "differences"))
#: commands of the show: they stay in order, and never wait for work at the bench
_SHOW: Final = frozenset(
    (
        *("scene", "next", "back", "first", "entry", "setlist", "resend", "tap"),
        *("clock", "timecode", "mute", "unmute", "handover"),
    )
)
_BENCH: Final = frozenset(("edit", "save", "scenes", "test note", "identify"))
#: nothing else is passed on: not what turns the connection round, nor what writes to a file of the asker's choice
_OPERATE: Final = _VIEW | _SHOW | _BENCH | {"panic"}

_WAITING: Final = 16  # requests of one kind
_PACE: Final = RatePace(40, 0.1)  # requests of one browser
#: what waits for what, and the seconds an answer may take: panic waits for nothing, the show not for the bench
_LANES: Final = {"panic": 5.0, "show": 5.0, "bench": 30.0}


class BrowserSocket:
    """Serves one socket until the browser goes."""

    def __init__(self, socket: WebSocket, role: Role, engine: str, follower: EngineFollower) -> None:
        """`engine`: its name."""
        self._socket = socket
        self._role = role
        self._engine = engine
        self._follower = follower
        self._pace = RateBucket(_PACE)
        self._news: deque[str] = deque()
        self._missed: StatusFrame | None = None
        self._away = False
        self._something = trio.Event()
        self._lanes: dict[str, trio.MemorySendChannel[tuple[int, Facts]]] = {}
        self.awake = True
        self.events = False

    async def run(self) -> None:
        """Until it goes."""
        await self._socket.accept()
        async with trio.open_nursery() as nursery:
            self._say({"role": self._role})
            for lane, patience in _LANES.items():
                self._lanes[lane], waiting = trio.open_memory_channel[tuple[int, Facts]](_WAITING)
                nursery.start_soon(self._pass_on, waiting, patience)
            nursery.start_soon(self._send)
            self._follower.join(self)
            try:
                await self._listen()
            finally:
                self._follower.leave(self)
            nursery.cancel_scope.cancel()

    # What the follower tells.

    def frame(self, frame: StatusFrame) -> None:
        """It gets this with its next look; what it has not taken yet is put together with it."""
        if self._away:
            self._away = False
            self._say({"back": True})
        self._missed = frame if self._missed is None else StatusFrame(merged(self._missed.facts, frame.facts))
        self._something.set()

    def gone(self, text: str) -> None:
        """The engine does not answer."""
        self._missed, self._away = None, True
        self._say({"gone": text})

    # What the browser says.

    async def _listen(self) -> None:
        try:
            while True:
                text = await self._socket.receive_text()
                if not self._heed(_parsed(text)):
                    await self._socket.close(1003)
                    return
        except (WebSocketDisconnect, KeyError):  # KeyError: it sent bytes, no text
            return

    def _heed(self, said: Facts | None) -> bool:
        """Whether it was a message of ours."""
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
        do = request.get("do")
        if not isinstance(do, str) or do not in _OPERATE:
            self._refuse(number, "the page cannot ask that")
        elif self._role == "view" and do not in _VIEW:
            self._refuse(number, "this browser may look but not operate; pair it with the other code")
        elif do != "panic" and self._pace.wait(trio.current_time()) > 0:
            self._refuse(number, "that is too much at once; nothing was done")
        else:
            self._pace.take()
            try:
                self._lanes[_lane(do)].send_nowait((number, request))
            except trio.WouldBlock:
                self._refuse(number, "the engine is still busy with what was asked before; nothing was done")

    async def _pass_on(self, waiting: trio.MemoryReceiveChannel[tuple[int, Facts]], patience: float) -> None:
        """One after the other, each on a connection of its own: none finds the end of an engine that is gone."""
        async for number, request in waiting:
            try:
                answer = await ask(self._engine, request, patience)
            except EngineUnanswered as fault:
                self._refuse(number, str(fault))
            else:
                self._news.append(f'{{"id": {number}, "answer": {answer}}}')
                self._something.set()

    # What it is sent.

    def _refuse(self, number: int, text: str) -> None:
        self._say({"id": number, "answer": {"done": False, "text": text}})

    def _say(self, news: dict[str, Any]) -> None:
        self._news.append(json.dumps(news))
        self._something.set()

    async def _send(self) -> None:
        while True:
            await self._something.wait()
            self._something = trio.Event()
            while self._news:
                await self._socket.send_text(self._news.popleft())
            if (frame := self._missed) is not None:
                self._missed = None
                await self._socket.send_text(frame.whole if self.events else frame.plain)


def _lane(do: str) -> str:
    return do if do == "panic" else "show" if do in _SHOW else "bench"


def _parsed(text: str) -> Facts | None:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None
