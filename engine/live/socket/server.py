"""The local socket of a running engine: one JSON object per line in, one per line out, as `engine/protocol` has it.

Only the engine's own user can open it. After {"do": "watch"} the engine sends the messages that pass, and after
{"do": "follow"} what has changed, at most thirty times per second, until the client goes. A client that does not read
in time is dropped: the show never waits for it.
"""

import contextlib
import reprlib
import socket
from collections import deque
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, Final, get_args

import trio

from engine.live.cluster_session import ClusterSession
from engine.live.edit.edit_requests import EditRequests
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.gear.audition import audition
from engine.live.gear.dump_requests import DumpRequests
from engine.live.gear.sysex_requests import SysexRequests
from engine.live.gear.trials import Trials
from engine.live.process.worker_process import WorkGivenUp
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show, ShowEvent
from engine.live.socket.answer_queue import AnswerQueue
from engine.live.socket.json_lines import line_of
from engine.live.socket.pace import ServicePace
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.request_lines import RequestLines, request_lines
from engine.live.socket.show_requests import ShowRequests
from engine.live.socket.status import sync
from engine.live.socket.status_stream import StatusFrames, follow
from engine.protocol import (
    Answer,
    AnswerCode,
    AuditionRequest,
    Facts,
    FollowRequest,
    Handler,
    IdentifyRequest,
    LongLine,
    ReceiveDumpRequest,
    Request,
    RequestError,
    Role,
    Row,
    SendDumpRequest,
    WatchRequest,
    read_line,
    read_long,
    refused,
)
from engine.rig.gear_words import drum_struck
from engine.rig.models.rig import Rig

_AT_ONCE: Final = 100  # requests that are answered without a wait
_PER_SECOND: Final = 200.0  # the same after that
_CONNECTIONS_AT_ONCE: Final = 16  # that are taken without a wait: they may all end in the same turn of the loop
_CONNECTIONS_PER_SECOND: Final = 150.0  # the same after that
_LONG_AT_ONCE: Final = 4  # longer requests that are answered without a wait
_LONG_PER_SECOND: Final = 1.0  # the same after that: the worker process reads them, which the player edits with
_FRAME: Final = 1 / 30  # seconds
_PATIENCE_WITH_DUMP: Final = 30.0  # seconds that a client may take to read a piece of a dump
_PATIENCE: Final = 1.0  # seconds that a watcher may take to read


class SocketServer:
    """Answers on the socket for one show."""

    def __init__(
        self,
        show: Show,
        session: RigSession,
        saver: RigSaver,
        remote_work: RemoteWork,
        panel: PanelRequests,
        listener: socket.socket,
        written: Callable[[], Awaitable[None]] = trio.lowlevel.checkpoint,
        cluster: ClusterSession | None = None,
    ) -> None:
        """`written`, `cluster`: see ShowRequests."""
        self._show = show
        self._session = session
        self._panel = panel
        self._cluster = cluster
        self._sysex = SysexRequests(show)
        self._queues: dict[Role, AnswerQueue] = {role: AnswerQueue() for role in get_args(Role)}
        self._handlers: dict[type[Request], Handler] = {
            **ShowRequests(show, written, cluster).handlers,
            **EditRequests(show, session, saver, remote_work).handlers,
            **panel.handlers,
            **Trials(show).handlers,
            **DumpRequests(self._sysex).handlers,
            AuditionRequest: partial(audition, show),
            IdentifyRequest: self._sysex.identify_quietly,
        }
        #: what takes the rest of a connection
        self._streams: dict[type[Request], Callable[[trio.SocketStream, RequestLines, Any], Awaitable[None]]] = {
            WatchRequest: self._watch,
            FollowRequest: self._follow,
            IdentifyRequest: self._with_progress,
            ReceiveDumpRequest: self._with_progress,
            SendDumpRequest: self._with_progress,
        }
        self._listener = trio.SocketListener(trio.socket.from_stdlib_socket(listener))
        self._pace = ServicePace(_AT_ONCE, _PER_SECOND)
        self._long_pace = ServicePace(_LONG_AT_ONCE, _LONG_PER_SECOND)

    async def serve(self) -> None:
        """Answer until cancelled."""
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._panel.run)
            await trio.serve_listeners(self._talk, [PacedListener(self._listener)])

    async def _talk(self, stream: trio.SocketStream) -> None:
        """Serve one client; whatever it does, the show goes on."""
        try:
            with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
                async with stream, contextlib.aclosing(request_lines(stream)) as lines:
                    await self._answer_lines(stream, lines)
        except Exception as fault:  # it costs this connection
            self._show.own_fault("serving a connection of the socket", fault)

    async def _answer_lines(self, stream: trio.SocketStream, lines: RequestLines) -> None:
        async for line in lines:
            found = await self._read(line)
            if isinstance(found, Answer):
                await stream.send_all(line_of(found.plain()))
                continue
            row, request = found
            if row.audible and (leader := self._show.engine.state.led_by):
                answer = refused(AnswerCode.NOT_LEADER, f"{leader} is in charge; ask there")
                await stream.send_all(line_of(answer.plain()))
                continue
            if row.cost == "connection":
                await self._streams[row.model](stream, lines, request)
                return
            await stream.send_all(await self._answer(row, request))

    async def _read(self, line: bytes | LongLine) -> tuple[Row, Request] | Answer:
        """What is asked for, when it is its turn, or why it cannot be read."""
        await self._pace.turn()
        try:
            return await (self._read_short(line) if isinstance(line, bytes) else self._read_long(line))
        except RequestError as fault:
            return refused(fault.code, str(fault))
        except WorkGivenUp as fault:
            return refused(AnswerCode.BAD_REQUEST, f"reading the request was given up: {fault}")

    async def _read_short(self, line: bytes) -> tuple[Row, Request]:
        found = read_line(line)
        if found[1].long_texts:  # a short one costs the worker process the same
            await self._long_pace.turn()
        return found

    async def _read_long(self, line: LongLine) -> tuple[Row, Request] | Answer:
        await self._long_pace.turn()
        found: tuple[Row, Request] | Answer = await self._session.elsewhere(read_long, line)
        if isinstance(found, Answer):
            return found
        row, request = found
        return row, line.of(request)

    async def _answer(self, row: Row, request: Request) -> bytes:
        handler = self._handlers[row.model]
        try:
            if row.cost in ("worker", "paced"):
                return await self._queues[row.role].answer(handler, request, paced=row.cost == "paced")
            return line_of((await handler(request)).plain())
        except Exception as fault:
            return line_of(self._own_fault(request, fault).plain())

    def _own_fault(self, request: Request, fault: Exception) -> Answer:
        """A fault of Bayleaf itself costs the request that met it, not the show."""
        return refused(AnswerCode.OWN_FAULT, self._show.own_fault(f"answering {reprlib.repr(request)}", fault))

    async def _with_progress(self, stream: trio.SocketStream, lines: RequestLines, request: Request) -> None:
        """Long work that reports its progress. Anything the client sends stops it, and so does a client that goes."""
        stop = trio.Event()

        async def report(facts: Facts) -> None:
            try:
                with trio.fail_after(_PATIENCE_WITH_DUMP):
                    await stream.send_all(await to_its_end(line_of, facts) if "messages" in facts else line_of(facts))
            except (trio.BrokenResourceError, trio.ClosedResourceError, trio.TooSlowError):
                stop.set()

        async def heed() -> None:
            with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
                async for _ in lines:
                    break
            stop.set()

        async with trio.open_nursery() as nursery:
            nursery.start_soon(heed)
            try:
                answer = await self._sysex.serve(request, report, stop)
            except Exception as fault:
                answer = self._own_fault(request, fault)
            await report(answer.plain())
            nursery.cancel_scope.cancel()

    async def _follow(self, stream: trio.SocketStream, lines: RequestLines, request: FollowRequest) -> None:
        frames = StatusFrames(self._show, self._session, self._panel.load, request.events, self._cluster)
        await follow(stream, lines, frames)

    async def _watch(self, stream: trio.SocketStream, lines: RequestLines, request: WatchRequest) -> None:
        events = self._show.watch()
        try:
            while True:
                with trio.move_on_after(_PATIENCE) as patience:
                    rig = self._show.engine.rig
                    news: Facts = {"events": [_plain(event, rig) for event in _drain(events)], "sync": sync(self._show)}
                    news["middle_c"] = rig.rig.middle_c
                    await stream.send_all(line_of(news))
                if patience.cancelled_caught:
                    return
                await trio.sleep(_FRAME)
        finally:
            self._show.unwatch(events)


def _drain(events: deque[ShowEvent]) -> list[ShowEvent]:
    return [events.popleft() for _ in range(len(events))]


def _plain(event: ShowEvent, rig: Rig) -> Facts:
    message = event.message.hex(" ").upper() if event.message is not None else None
    plain = {"at": event.at, "way": event.way, "port": event.port, "message": message, "text": event.text}
    struck = drum_struck(rig, event.port, event.message or b"") if event.way == "out" else None
    return plain if struck is None else {**plain, "drum": struck}


class PacedListener(trio.abc.Listener[trio.SocketStream]):
    """A listener that takes connections at a limited pace; the others wait in the system's queue."""

    def __init__(self, listener: trio.SocketListener) -> None:
        self._listener = listener
        self._pace = ServicePace(_CONNECTIONS_AT_ONCE, _CONNECTIONS_PER_SECOND)

    async def accept(self) -> trio.SocketStream:
        """See trio.abc.Listener."""
        await self._pace.turn()
        return await self._listener.accept()

    async def aclose(self) -> None:
        """See trio.abc.Listener."""
        await self._listener.aclose()
