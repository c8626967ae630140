"""The one connection on which the engine tells what it does, shared by all browsers that look.

While nobody looks there is none, and the engine makes no frames for us.
"""

import contextlib
import json
from typing import Any, Final, Protocol

import trio

from engine.panel.engine_socket import EngineUnanswered, connect, lines
from engine.panel.frame_merging import Facts, StatusFrame, lasting

_ROUND: Final = 1.0  # seconds between two looks for an engine that is away
_SILENCE: Final = 3.0  # seconds; a frame comes at least each second


class Onlooker(Protocol):
    """A browser, as the follower sees it."""

    @property
    def awake(self) -> bool:
        """Whether it wants frames now."""

    @property
    def events(self) -> bool:
        """Whether it wants the messages that pass, too."""

    def frame(self, frame: StatusFrame) -> None:
        """What is new; it must not wait."""

    def gone(self, text: str) -> None:
        """The engine does not answer; the sentence says so. The next frame says that it does again."""


class EngineFollower:
    """Follows the engine of one name for all onlookers."""

    def __init__(self, name: str) -> None:
        """`name` of the engine."""
        self._name = name
        self._onlookers: list[Onlooker] = []
        self._state: Facts = {}
        self._gone: str | None = None
        self._changed = trio.Event()

    def join(self, onlooker: Onlooker) -> None:
        """Tell this one, too, beginning with all that holds now."""
        self._onlookers.append(onlooker)
        self.changed(onlooker)

    def leave(self, onlooker: Onlooker) -> None:
        """Tell it nothing more."""
        self._onlookers.remove(onlooker)
        self._wake()

    def changed(self, onlooker: Onlooker) -> None:
        """It has come to look, rests, or wants other things than before."""
        if onlooker.awake:
            if self._gone is not None:
                onlooker.gone(self._gone)
            elif self._state:
                onlooker.frame(StatusFrame(self._state))
        self._wake()

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            while not self._looked_at():
                self._state = {}
                await self._changed.wait()
            try:
                await self._follow()
            except EngineUnanswered as fault:
                self._tell_gone(str(fault))
                await trio.sleep(_ROUND)

    def _wake(self) -> None:
        self._changed.set()
        self._changed = trio.Event()

    def _looked_at(self) -> bool:
        return any(onlooker.awake for onlooker in self._onlookers)

    def _events_wanted(self) -> bool:
        return any(onlooker.awake and onlooker.events for onlooker in self._onlookers)

    async def _follow(self) -> None:
        """Until nobody looks. Raises Unanswered."""
        ended: EngineUnanswered | None = None
        async with await connect(self._name) as stream, trio.open_nursery() as nursery:
            nursery.start_soon(self._ask, stream, nursery.cancel_scope)
            try:
                await self._listen(stream)
            except EngineUnanswered as fault:
                ended = fault
                nursery.cancel_scope.cancel()
        if ended is not None:
            raise ended

    async def _ask(self, stream: trio.SocketStream, scope: trio.CancelScope) -> None:
        """What is wanted now, and again when that changes."""
        asked = self._events_wanted()
        with contextlib.suppress(trio.BrokenResourceError):  # whoever listens finds out
            await _send(stream, {"do": "follow", "events": asked})
            while self._looked_at():
                if (wanted := self._events_wanted()) != asked:
                    asked = wanted
                    await _send(stream, {"events": asked})
                    continue
                await self._changed.wait()
            scope.cancel()

    async def _listen(self, stream: trio.SocketStream) -> None:
        async with contextlib.aclosing(lines(stream)) as heard:
            while True:
                line = None
                with trio.move_on_after(_SILENCE):
                    line = await anext(heard, b"")
                if line is None:
                    raise EngineUnanswered(f'the engine "{self._name}" has said nothing for {_SILENCE:.0f} seconds')
                if not line:
                    raise EngineUnanswered(f'the engine "{self._name}" has ended')
                try:
                    told = json.loads(line)
                except ValueError:
                    raise EngineUnanswered(f'what answers as the engine "{self._name}" is none') from None
                self._hear(told)

    def _hear(self, told: dict[str, Any]) -> None:
        if not told.get("done", True):
            raise EngineUnanswered(f'the engine "{self._name}" cannot be followed: {told.get("text")}')
        if "frame" not in told:
            return
        self._gone = None
        frame = StatusFrame(told["frame"])
        self._state = {**self._state, **lasting(frame.facts)}
        for onlooker in self._onlookers:
            if onlooker.awake:
                onlooker.frame(frame)

    def _tell_gone(self, text: str) -> None:
        first, self._gone, self._state = self._gone is None, text, {}
        for onlooker in self._onlookers:
            if first and onlooker.awake:
                onlooker.gone(text)


async def _send(stream: trio.SocketStream, request: dict[str, Any]) -> None:
    await stream.send_all(json.dumps(request).encode() + b"\n")
