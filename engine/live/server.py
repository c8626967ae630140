"""The local socket of a running engine: one JSON object a line in, one a line out.

Only the engine's own user can open it. A request is {"do": COMMAND, …}; the answer says what happened. After
{"do": "watch"} the engine sends what passes, and after {"do": "follow"} what has changed, thirty times a second at the
most, until the asker goes; one that does not read in time is dropped, never waited for.
"""

import contextlib
import fcntl
import json
import os
import socket
import stat
from collections import deque
from collections.abc import AsyncGenerator, Awaitable, Callable
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any, Final, NamedTuple

import trio

from engine.core.outcome import Outcome
from engine.live.audition import audition
from engine.live.client import socket_path
from engine.live.desk import ASKED, Desk
from engine.live.editing import EDITS, obey
from engine.live.errands import Errands
from engine.live.following import Frames, follow
from engine.live.gear import Gear
from engine.live.keeping import keep
from engine.live.keptfile import KeepFault
from engine.live.network import Joined, hand_over
from engine.live.picture import status, sync
from engine.live.show import Event, Show
from engine.live.workshop import Workshop

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


class NameTaken(Exception):
    """Another engine of this name runs already."""


class Claim(NamedTuple):
    """A name that is ours while `lock` is open. `crashed`: the last engine of this name did not end as it should."""

    listener: socket.socket
    path: Path
    lock: IO[bytes]
    crashed: bool

    def release(self) -> None:
        """Give the name up."""
        self.listener.close()
        self.path.unlink(missing_ok=True)
        self.lock.close()


def claim_socket(name: str) -> Claim:
    """A listening socket for the engine of this name. A socket left over from a crash is replaced.

    Raises NameTaken if an engine of this name runs, OSError if the folder cannot be used.
    """
    path = socket_path(name)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.parent.stat().st_uid != os.getuid() or stat.S_IMODE(path.parent.stat().st_mode) & 0o077:
        os.chmod(path.parent, 0o700)  # raises if it is somebody else's
    lock = path.with_suffix(".lock").open("ab")
    try:
        # held by the system for as long as this process lives, and no longer, however it ends
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise NameTaken(f'an engine named "{name}" is running; give this one another with --name NAME') from None
    crashed = path.is_socket()
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        path.unlink(missing_ok=True)
        listener.bind(os.fspath(path))
        os.chmod(path, 0o600)
        listener.listen(16)
    except OSError:
        listener.close()
        lock.close()
        raise
    return Claim(listener, path, lock, crashed)


class Server:
    """Answers on the socket for one show."""

    def __init__(
        self,
        show: Show,
        workshop: Workshop,
        errands: Errands,
        desk: Desk,
        listener: socket.socket,
        written: Callable[[], Awaitable[None]] = trio.lowlevel.checkpoint,
        joined: Joined | None = None,
    ) -> None:
        """`written` waits until a change of scene is written down: whoever was answered can rely on it.

        `joined`: the network, of a rig that has one.
        """
        self._show = show
        self._workshop = workshop
        self._errands = errands
        self._desk = desk
        self._gear = Gear(show)
        self._written = written
        self._joined = joined
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
                    if request is not None and request.get("do") == "watch":
                        await self._watched(stream)
                        return
                    if request is not None and request.get("do") == "follow":
                        events = request.get("events") is True
                        await follow(stream, lines, Frames(self._show, self._workshop, self._desk.gauge, events))
                        return
                    if request is not None and request.get("do") in ASKED:
                        await stream.send_all(await self._desk.answer(request) + b"\n")
                        continue
                    if request is not None and request.get("do") == "sysex":
                        await self._with_gear(stream, lines, request)
                        return
                    if request is not None and request.get("do") == "keep":
                        await _answer(stream, await self._keep(request))
                        continue
                    if request is not None and request.get("do") == "audition":
                        await _answer(stream, await self._audition(request))
                        continue
                    if request is not None and request.get("do") == "handover":
                        await _answer(stream, await hand_over(self._joined))
                        continue
                    if request is not None and request.get("do") == "identify":
                        await _answer(stream, await self._identify(request))
                        continue
                    if request is not None and request.get("do") in EDITS:
                        await _answer(stream, await self._edit(request))
                        continue
                    answer = self._answer_to(request)
                    if answer.get("scene"):
                        with trio.move_on_after(_PATIENCE):
                            await self._written()
                    await _answer(stream, answer)

    def _answer_to(self, request: dict[str, Any] | None) -> dict[str, Any]:
        try:
            return self._obey(request)
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(fault)}

    def _obey(self, request: dict[str, Any] | None) -> dict[str, Any]:
        if request is None:
            return {"done": False, "text": "a request is one JSON object on a line"}
        do = request.get("do")
        if do == "status":
            network = self._joined.picture() if self._joined is not None else None
            return {"done": True, "status": {**status(self._show), "network": network}}
        if do in ("clock", "timecode"):
            return _plain_outcome(self._show.sync(do, str(request.get("what")), request.get("value")))
        if do in ("mute", "unmute"):
            return _plain_outcome(self._show.mute(str(request.get("route")), do == "mute", "shell"))
        if not isinstance(do, str) or do not in _COMMANDS:
            return {
                "done": False,
                "text": f"no command {do!r}; there are {', '.join((*_COMMANDS, *_MORE))}",
            }
        kinds, value = _COMMANDS[do], request.get(do)
        if kinds and type(value) not in kinds:
            return {"done": False, "text": f"{do} needs {' or '.join(_KINDS[kind] for kind in kinds)}"}
        return _plain_outcome(self._show.command(do, value if kinds else None, "shell"))

    async def _edit(self, request: dict[str, Any]) -> dict[str, Any]:
        try:
            return await obey(self._show, self._workshop, self._errands, request)
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(fault)}

    async def _audition(self, request: dict[str, Any]) -> dict[str, Any]:
        try:
            return await audition(self._show, request)
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(fault)}

    async def _identify(self, request: dict[str, Any]) -> dict[str, Any]:
        """As "sysex" does, but in one line."""

        async def unheard(progress: dict[str, Any]) -> None:
            del progress

        try:
            return await self._gear.serve({**request, "what": "identify"}, unheard, trio.Event())
        except Exception as fault:  # it costs this request, not the show
            return {"done": False, "text": self._show.own_fault(fault)}

    async def _keep(self, request: dict[str, Any]) -> dict[str, Any]:
        show = self._show
        seconds, file = request.get("last_s"), request.get("file")
        if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds < _AGES:
            return {"done": False, "text": "last_s needs a number of seconds above 0"}
        if not isinstance(file, str) or not os.path.isabs(file):
            return {"done": False, "text": "file needs a whole path"}
        kept = show.recorder.last(show.clock(), seconds)
        try:
            text = await trio.to_thread.run_sync(
                keep, kept, Path(file), show.inputs, show.outputs, show.bay.rig.rig.name, abandon_on_cancel=True
            )
        except KeepFault as fault:
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
                    await stream.send_all(
                        await trio.to_thread.run_sync(_line, line) if "messages" in line else _line(line)
                    )
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
                last = await self._gear.serve(request, report, stop)
            except Exception as fault:  # it costs this request, not the show
                last = {"done": False, "text": self._show.own_fault(fault)}
            await report(last)
            nursery.cancel_scope.cancel()

    async def _watched(self, stream: trio.SocketStream) -> None:
        events = self._show.watch()
        try:
            while True:
                with trio.move_on_after(_PATIENCE) as patience:
                    await _answer(
                        stream, {"events": [_plain(event) for event in _drain(events)], "sync": sync(self._show)}
                    )
                if patience.cancelled_caught:
                    return
                await trio.sleep(_FRAME)
        finally:
            self._show.unwatch(events)


def _drain(events: deque[Event]) -> list[Event]:
    return [events.popleft() for _ in range(len(events))]


def _plain_outcome(outcome: Outcome) -> dict[str, Any]:
    return {**asdict(outcome), "text": outcome.told}


def _plain(event: Event) -> dict[str, Any]:
    message = event.message.hex(" ").upper() if event.message is not None else None
    return {"at": event.at, "way": event.way, "port": event.port, "message": message, "text": event.text}


async def _answer(stream: trio.SocketStream, answer: dict[str, Any]) -> None:
    await stream.send_all(_line(answer))


def _line(answer: dict[str, Any]) -> bytes:
    return json.dumps(answer).encode() + b"\n"


async def _parsed(line: bytes) -> dict[str, Any] | None:
    return _parse(line) if len(line) < _SHORT else await trio.to_thread.run_sync(_parse, line)


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
