"""One connection that follows the engine for all open browsers.

While no browser is open there is no connection, and the engine makes no frames.
"""

import contextlib
import json
from collections.abc import Awaitable, Callable
from typing import Any, Final, Protocol

import trio

from engine.panel.engine_socket import EngineUnanswered, connect, lines
from engine.panel.frame_merging import Facts, StatusFrame, lasting

_ROUND: Final = 1.0  # seconds between attempts to reach an engine
_SILENCE: Final = 3.0  # seconds; a frame comes at least each second
_LISTENED: Final = 0.5  # seconds of it at a time
_PACE: Final = 0.2  # seconds between two changes of what the engine is asked for, however often browsers change
#: what answers about the rig depend on
_SITUATION: Final = ("revision", "unsaved", "muted_routes", "song", "step")


class Onlooker(Protocol):
    """A browser as the follower sees it."""

    @property
    def awake(self) -> bool:
        """Whether it takes frames now."""

    @property
    def events(self) -> bool:
        """Whether its frames are to hold the messages that pass."""

    def frame(self, frame: StatusFrame) -> None:
        """Take a frame; this must not wait."""

    def gone(self, text: str) -> None:
        """The engine does not answer; `text` says so. The next frame means that it answers again."""


class EngineFollower:
    """Follows the engine of one name for all onlookers."""

    def __init__(self, name: str) -> None:
        """`name` of the engine."""
        self._name = name
        self._onlookers: list[Onlooker] = []
        self._state: Facts = {}
        self._gone: str | None = None
        self._changed = trio.Event()
        self._free_at = 0.0
        self._listened = 0.0  # seconds since something came

    def join(self, onlooker: Onlooker) -> None:
        """Add an onlooker; its first frame holds everything."""
        self._onlookers.append(onlooker)
        self.changed(onlooker)

    def leave(self, onlooker: Onlooker) -> None:
        """Remove an onlooker."""
        self._onlookers.remove(onlooker)
        self._wake()

    def changed(self, onlooker: Onlooker) -> None:
        """An onlooker was added, rests, or takes other frames than before."""
        if onlooker.awake:
            if self._gone is not None:
                onlooker.gone(self._gone)
            elif self._state:
                onlooker.frame(StatusFrame(self._state))
        self._wake()

    def situation(self) -> Facts:
        """What answers about the rig depend on; empty while the engine is not followed."""
        return {key: self._state[key] for key in _SITUATION if key in self._state}

    def rig_file(self) -> tuple[str, bool] | None:
        """The rig's file and whether it has all edits; None if it has none, or the engine is not followed."""
        file, draft = self._state.get("file"), self._state.get("draft", False)
        return None if draft or not isinstance(file, str) else (file, not self._state.get("unsaved", False))

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            while not self._looked_at():
                self._state = {}
                await self._changed.wait()
            await trio.sleep_until(self._free_at)
            self._free_at = trio.current_time() + _PACE
            try:
                await self._follow()
            except EngineUnanswered as fault:
                self._report_gone(str(fault))
                await trio.sleep(_ROUND)

    def _wake(self) -> None:
        self._changed.set()
        self._changed = trio.Event()

    def _looked_at(self) -> bool:
        return any(onlooker.awake for onlooker in self._onlookers)

    def _takes_events(self) -> bool:
        return any(onlooker.awake and onlooker.events for onlooker in self._onlookers)

    async def _follow(self) -> None:
        """Until no onlooker is awake. Raises EngineUnanswered."""
        ended: list[EngineUnanswered] = []
        async with await connect(self._name) as stream, trio.open_nursery() as nursery:

            async def until_it_fails(listen: Callable[[], Awaitable[None]]) -> None:
                try:
                    await listen()
                except EngineUnanswered as fault:
                    ended.append(fault)
                    nursery.cancel_scope.cancel()

            nursery.start_soon(self._ask, stream, nursery.cancel_scope)
            nursery.start_soon(until_it_fails, lambda: self._listen(stream))
            nursery.start_soon(until_it_fails, self._notice_silence)
        if ended:
            raise ended[0]

    async def _ask(self, stream: trio.SocketStream, scope: trio.CancelScope) -> None:
        """Tell the engine what the frames are to hold, again whenever that changes."""
        asked = self._takes_events()
        with contextlib.suppress(trio.BrokenResourceError):  # `_listen` meets it, too
            await _send(stream, {"do": "follow", "events": asked})
            while self._looked_at():
                if (events := self._takes_events()) != asked:
                    asked = events
                    await _send(stream, {"events": asked})
                    await trio.sleep(_PACE)
                    continue
                await self._changed.wait()
            scope.cancel()

    async def _listen(self, stream: trio.SocketStream) -> None:
        async with contextlib.aclosing(lines(stream)) as received:
            async for line in received:
                self._listened = 0.0
                try:
                    news = json.loads(line)
                except ValueError:
                    raise EngineUnanswered(f'what answers as the engine "{self._name}" is not an engine') from None
                self._take(news)
        raise EngineUnanswered(f'the engine "{self._name}" has ended')

    async def _notice_silence(self) -> None:
        """Only time in which the engine could have been heard counts, so none in which we had no processor."""
        self._listened = 0.0
        while self._listened < _SILENCE:
            await trio.sleep(_LISTENED)
            self._listened += _LISTENED
        raise EngineUnanswered(f'the engine "{self._name}" has sent nothing for {_SILENCE:.0f} seconds')

    def _take(self, news: dict[str, Any]) -> None:
        if not news.get("done", True):
            raise EngineUnanswered(f'the engine "{self._name}" cannot be followed: {news.get("text")}')
        if "frame" not in news:
            return
        self._gone = None
        frame = StatusFrame(news["frame"])
        self._state = {**self._state, **lasting(frame.facts)}
        for onlooker in self._onlookers:
            if onlooker.awake:
                onlooker.frame(frame)

    def _report_gone(self, text: str) -> None:
        first, self._gone, self._state = self._gone is None, text, {}
        for onlooker in self._onlookers:
            if first and onlooker.awake:
                onlooker.gone(text)


async def _send(stream: trio.SocketStream, request: dict[str, Any]) -> None:
    await stream.send_all(json.dumps(request).encode() + b"\n")
