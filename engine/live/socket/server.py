"""The local socket of a running engine: one JSON object a line in, one a line out.

Only the engine's own user can open it. A request is {"do": COMMAND, …}; the answer says what happened. After
{"do": "watch"} the engine sends what passes, and after {"do": "follow"} what has changed, thirty times a second at the
most, until the asker goes; one that does not read in time is dropped, never waited for.
"""

import contextlib
import json
import os
import reprlib
import socket
from collections import deque
from collections.abc import AsyncGenerator, Awaitable, Callable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

import trio

from engine.core.command_codec import decode
from engine.core.command_result import CommandResult
from engine.core.commands import Command, ControlClock, ControlTimecode
from engine.live.cluster_session import ClusterSession, hand_over
from engine.live.edit.edit_requests import EDITS
from engine.live.edit.edit_requests import obey as edit
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_session import RigSession
from engine.live.gear.audition import audition
from engine.live.gear.sysex_requests import SysexRequests
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.live.recording_files import RecordingFileError
from engine.live.recording_writer import keep
from engine.live.show import Show, ShowEvent
from engine.live.socket.panel_requests import ASKED, PanelRequests
from engine.live.socket.status import status, sync
from engine.live.socket.status_stream import StatusFrames, follow

_LONGEST: Final = 8 << 20  # bytes of a request: a whole rig may come in one
_SHORT: Final = 1 << 16  # bytes of a request that is read on the loop
_FRAME: Final = 1 / 30  # seconds
_AGES: Final = 1e9  # seconds
_PATIENCE_WITH_DUMP: Final = 30.0  # seconds an asker may take to read a piece of a dump
_PATIENCE: Final = 1.0  # seconds a watcher may take to read, and a disk to write
#: commands, and of what kind the value may be that stands in the request under the command's own name
_COMMANDS: Final[dict[str, tuple[type, ...]]] = {
    "scene": (int, str),
    "next": (),
    "back": (),
    "first": (),
    "entry": (int,),
    "setlist": (str,),
    "panic": (),
    "resend": (),
    "tap": (),
}
_KINDS: Final = {int: "a number", str: "a name"}
_MORE: Final = (
    "clock",
    "timecode",
    "mute",
    "unmute",
    *EDITS,
    *ASKED,
    "audition",
    "handover",
    "identify",
    "keep",
    "status",
    "sysex",
    "watch",
    "follow",
)


class SocketServer:
    """Answers on the socket for one show."""

    def __init__(
        self,
        show: Show,
        workshop: RigSession,
        errands: RemoteWork,
        desk: PanelRequests,
        listener: socket.socket,
        written: Callable[[], Awaitable[None]] = trio.lowlevel.checkpoint,
        joined: ClusterSession | None = None,
    ) -> None:
        """`written` waits until a change of scene is written down: whoever was answered can rely on it.

        `joined`: the network, of a rig that has one.
        """
        self._show = show
        self._workshop = workshop
        self._errands = errands
        self._desk = desk
        self._gear = SysexRequests(show)
        self._written = written
        self._joined = joined
        #: what takes the rest of a connection, and what takes its time
        self._talks = {"watch": self._watched, "follow": self._followed, "sysex": self._with_gear}
        self._works: dict[str, Callable[[dict[str, Any]], Awaitable[dict[str, Any]]]] = {
            "keep": self._keep,
            "audition": partial(audition, show),
            "identify": self._identify,
            "handover": lambda _: hand_over(joined),
            **dict.fromkeys(EDITS, partial(edit, show, workshop, errands)),
        }
        self._listener = trio.SocketListener(trio.socket.from_stdlib_socket(listener))

    async def serve(self) -> None:
        """Answer until cancelled."""
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._desk.gauge.run)
            await trio.serve_listeners(self._talk, [self._listener])

    async def _talk(self, stream: trio.SocketStream) -> None:
        """One asker; whatever it does, the show goes on."""
        with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
            async with stream, contextlib.aclosing(_lines(stream)) as lines:
                async for line in lines:
                    request = await _parsed(line)
                    if request is not None and (leader := self._show.engine.state.led_by) and _is_heard(request):
                        await stream.send_all(_line({"done": False, "text": f"{leader} is in charge; ask there"}))
                        continue
                    talk = self._talks.get(_asked(request))
                    if request is not None and talk is not None:
                        await talk(stream, lines, request)
                        return
                    await stream.send_all(await self._answer(request))

    async def _answer(self, request: dict[str, Any] | None) -> bytes:
        do = _asked(request)
        if request is not None and do in ASKED:
            return await self._desk.answer(request) + b"\n"
        if request is not None and do in self._works:
            return _line(await self._work(self._works[do], request))
        answer = self._answer_to(request)
        if answer.get("scene"):
            with trio.move_on_after(_PATIENCE):
                await self._written()
        return _line(answer)

    async def _work(
        self, work: Callable[[dict[str, Any]], Awaitable[dict[str, Any]]], request: dict[str, Any]
    ) -> dict[str, Any]:
        try:
            return await work(request)
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(f"answering {reprlib.repr(request)}", fault)}

    def _answer_to(self, request: dict[str, Any] | None) -> dict[str, Any]:
        try:
            return self._obey(request)
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(f"answering {reprlib.repr(request)}", fault)}

    def _obey(self, request: dict[str, Any] | None) -> dict[str, Any]:
        if request is None:
            return {"done": False, "text": "a request is one JSON object on a line"}
        do = request.get("do")
        if do == "status":
            network = {"network": self._joined.picture()} if self._joined is not None else {}
            return {"done": True, "status": {**status(self._show), **network}}
        if do in ("clock", "timecode"):
            value = request.get("value")
            value = value if value is None or type(value) in (int, float, str) else str(value)
            return self._apply((ControlClock if do == "clock" else ControlTimecode)(str(request.get("what")), value))
        if do in ("mute", "unmute"):
            return self._apply(decode(do, {"route": str(request.get("route"))}))
        if not isinstance(do, str) or do not in _COMMANDS:
            return {
                "done": False,
                "text": f"no command {do!r}; there are {', '.join((*_COMMANDS, *_MORE))}",
            }
        kinds, value = _COMMANDS[do], request.get(do)
        if kinds and type(value) not in kinds:
            return {"done": False, "text": f"{do} needs {' or '.join(_KINDS[kind] for kind in kinds)}"}
        return self._apply(decode(do, {do: value} if kinds else {}))

    def _apply(self, command: Command) -> dict[str, Any]:
        return _plain_outcome(self._show.apply(command, "shell"))

    async def _identify(self, request: dict[str, Any]) -> dict[str, Any]:
        """As "sysex" does, but in one line."""

        async def unheard(progress: dict[str, Any]) -> None:
            del progress

        return await self._gear.serve({**request, "what": "identify"}, unheard, trio.Event())

    async def _keep(self, request: dict[str, Any]) -> dict[str, Any]:
        show = self._show
        seconds, file = request.get("last_s"), request.get("file")
        if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds < _AGES:
            return {"done": False, "text": "last_s needs a number of seconds above 0"}
        if not isinstance(file, str) or not os.path.isabs(file):
            return {"done": False, "text": "file needs a whole path"}
        kept = show.recorder.last(show.clock(), seconds)
        try:
            text = await in_a_thread(keep, kept, Path(file), show.inputs, show.outputs, show.engine.rig.rig.name)
        except RecordingFileError as fault:
            return {"done": False, "text": str(fault)}
        return {"done": True, "text": text}

    async def _with_gear(
        self, stream: trio.SocketStream, lines: AsyncGenerator[bytes, None], request: dict[str, Any]
    ) -> None:
        """Long work with words of progress; whatever the asker says, or its going, stops it."""
        stop = trio.Event()

        async def report(line: dict[str, Any]) -> None:
            try:
                with trio.fail_after(_PATIENCE_WITH_DUMP):
                    await stream.send_all(await to_its_end(_line, line) if "messages" in line else _line(line))
            except (trio.BrokenResourceError, trio.ClosedResourceError, trio.TooSlowError):
                stop.set()

        async def heed() -> None:
            with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
                async for _ in lines:
                    break
            stop.set()

        async with trio.open_nursery() as nursery:
            nursery.start_soon(heed)
            await report(await self._work(lambda asked: self._gear.serve(asked, report, stop), request))
            nursery.cancel_scope.cancel()

    async def _followed(
        self, stream: trio.SocketStream, lines: AsyncGenerator[bytes, None], request: dict[str, Any]
    ) -> None:
        events = request.get("events") is True
        await follow(stream, lines, StatusFrames(self._show, self._workshop, self._desk.gauge, events, self._joined))

    async def _watched(
        self, stream: trio.SocketStream, lines: AsyncGenerator[bytes, None], request: dict[str, Any]
    ) -> None:
        events = self._show.watch()
        try:
            while True:
                with trio.move_on_after(_PATIENCE) as patience:
                    told = {"events": [_plain(event) for event in _drain(events)], "sync": sync(self._show)}
                    await stream.send_all(_line(told))
                if patience.cancelled_caught:
                    return
                await trio.sleep(_FRAME)
        finally:
            self._show.unwatch(events)


def _asked(request: dict[str, Any] | None) -> str:
    """What it is that is asked, or "" if that cannot be told."""
    do = request.get("do") if request is not None else None
    return do if isinstance(do, str) else ""


def _drain(events: deque[ShowEvent]) -> list[ShowEvent]:
    return [events.popleft() for _ in range(len(events))]


def _is_heard(request: dict[str, Any]) -> bool:
    """Whether this is for the outputs, beside the show."""
    do = _asked(request)
    return do in ("audition", "identify", "test note") or (do == "sysex" and request.get("what") != "receive")


def _plain_outcome(outcome: CommandResult) -> dict[str, Any]:
    return {**asdict(outcome), "text": outcome.told}


def _plain(event: ShowEvent) -> dict[str, Any]:
    message = event.message.hex(" ").upper() if event.message is not None else None
    return {"at": event.at, "way": event.way, "port": event.port, "message": message, "text": event.text}


def _line(answer: dict[str, Any]) -> bytes:
    return json.dumps(answer).encode() + b"\n"


async def _parsed(line: bytes) -> dict[str, Any] | None:
    return _parse(line) if len(line) < _SHORT else await to_its_end(_parse, line)


def _parse(line: bytes) -> dict[str, Any] | None:
    try:
        request = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return request if isinstance(request, dict) else None


async def _lines(stream: trio.SocketStream) -> AsyncGenerator[bytes, None]:
    """Whole lines; a line longer than allowed ends the talk."""
    begun: list[bytes | bytearray] = []
    async for piece in stream:
        first, *others = piece.split(b"\n")
        begun.append(first)
        for other in others:
            yield b"".join(begun)
            begun = [other]
        if sum(map(len, begun)) > _LONGEST:
            return
