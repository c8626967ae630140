"""The two ends of a panel in tests: a browser made of bare bytes, and a small engine on a Unix socket."""

import contextlib
import json
import os
import ssl
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import trio
from wsproto import ConnectionType
from wsproto.connection import Connection
from wsproto.events import BytesMessage, CloseConnection, Event, Ping, TextMessage

from engine.live.socket.client import socket_path
from engine.panel.app import Panel
from engine.panel.browser_socket import LONGEST
from engine.panel.connections import Connections
from engine.panel.engine_follower import EngineFollower
from engine.panel.paired_browsers import Role
from engine.panel.pairing import Pairing
from engine.panel.request_guard import RequestGuard

NAME = "pit"
DEADLINE = 30.0
#: addresses for documentation (RFC 5737), used for a network
HERE, PHONE = "192.0.2.1", "192.0.2.7"
FIRST_FRAME = {
    "at": 1,
    "revision": 1,
    "unsaved": False,
    "scene": {"number": 11, "name": "Overture"},
    "health": [],
    "activity": {"in": [0, 0], "out": [0]},
}

Headers = list[tuple[str, str]]


class Answer:
    """An HTTP answer."""

    def __init__(self, raw: bytes) -> None:
        head, _, self.body = raw.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        self.status = int(first.split()[1])
        self.headers: dict[str, list[str]] = {}
        for line in lines:
            name, _, value = line.partition(":")
            self.headers.setdefault(name.lower(), []).append(value.strip())

    def one(self, name: str) -> str:
        (value,) = self.headers[name]
        return value


class Ends:
    """A panel, and how to reach it: from the same machine, or from a phone on its network."""

    def __init__(self, port: int, codes: dict[Role, str], tls: bool = False) -> None:
        self.port = port
        self.codes = codes
        self.scheme = "https" if tls else "http"
        self.host = f"127.0.0.1:{port}"
        self.machine = 1

    def as_phone(self, machine: int = 1) -> "Ends":
        """The same panel as another machine of the network sees it, by number; 1 is the panel's own."""
        return self.by(HERE, machine)

    def by(self, name: str, machine: int = 1) -> "Ends":
        """The same panel by another name or address."""
        other = Ends(self.port, self.codes)
        other.host, other.machine = f"{name}:{self.port}", machine
        return other

    async def stream(self) -> trio.SocketStream:
        return await trio.open_tcp_stream("127.0.0.1", self.port, local_address=f"127.0.0.{self.machine}")

    async def http(self, method: str, path: str, headers: Headers | None = None, body: bytes = b"") -> Answer:
        """One request with just these headers; by default Host, and Origin where browsers send it."""
        if headers is None:
            headers = [("Host", self.host)] + ([("Origin", f"http://{self.host}")] if method == "POST" else [])
        lines = [f"{name}: {value}" for name, value in [*headers, ("Content-Length", str(len(body)))]]
        head = "\r\n".join([f"{method} {path} HTTP/1.1", "Connection: close", *lines, "", ""])
        async with await self.stream() as stream:
            await stream.send_all(head.encode("latin-1") + body)
            return Answer(await _all(stream))

    async def pair(self, code: str) -> Answer:
        return await self.http("POST", "/pair", body=f"code={code}".encode())

    async def paired(self, role: Role) -> str:
        """Pair a browser; returns its cookie."""
        return (await self.pair(self.codes[role])).one("set-cookie").split(";")[0]

    def on(self, stream: trio.abc.Stream) -> "Live":
        """The live socket on a stream that was upgraded."""
        return Live(stream)

    async def upgrade(self, stream: trio.abc.Stream, headers: Headers, after: bytes = b"") -> Answer:
        """Ask for the live socket; `after` follows the request in the same piece."""
        fixed = [
            ("Upgrade", "websocket"),
            ("Connection", "Upgrade"),
            ("Sec-WebSocket-Key", "AAAAAAAAAAAAAAAAAAAAAA=="),
            ("Sec-WebSocket-Version", "13"),
        ]
        lines = [f"{name}: {value}" for name, value in [*headers, *fixed]]
        request = "\r\n".join(["GET /live HTTP/1.1", *lines, "", ""]).encode("latin-1")
        await stream.send_all(request + after)
        raw = b""
        while not raw.endswith(b"\r\n\r\n"):
            # byte by byte: what follows belongs to the socket
            raw += (piece := bytes(await stream.receive_some(1)))
            if not piece:
                break
        return Answer(raw)

    def usual(self, cookie: str | None = None) -> Headers:
        """What a browser on our own page sends."""
        own = [("Host", self.host), ("Origin", f"{self.scheme}://{self.host}")]
        return own if cookie is None else [*own, ("Cookie", cookie)]

    @asynccontextmanager
    async def live(self, cookie: str | None = None, stream: trio.abc.Stream | None = None) -> AsyncIterator["Live"]:
        async with stream or await self.stream() as opened:
            answer = await self.upgrade(opened, self.usual(cookie))
            assert answer.status == 101, answer.status
            yield Live(opened)


async def _all(stream: trio.abc.Stream) -> bytes:
    raw = b""
    with contextlib.suppress(trio.BrokenResourceError):
        while piece := await stream.receive_some(65536):
            raw += bytes(piece)
    return raw


class Live:
    """A browser's live socket."""

    def __init__(self, stream: trio.abc.Stream) -> None:
        self.stream = stream
        self.protocol = Connection(ConnectionType.CLIENT)
        self._text = ""
        self._events: list[Event] = []
        self._sending = trio.Lock()

    async def say(self, **said: Any) -> None:
        await self.raw(TextMessage(json.dumps(said)))

    async def raw(self, event: TextMessage | BytesMessage) -> None:
        await self._send(event)

    async def _send(self, event: Event) -> None:
        async with self._sending:
            await self.stream.send_all(self.protocol.send(event))

    async def hear(self) -> Any:
        """The next message; the close code if it is closed, 1006 if it broke."""
        with trio.fail_after(DEADLINE):
            while True:
                while self._events:
                    event = self._events.pop(0)
                    if isinstance(event, Ping):
                        with contextlib.suppress(trio.BrokenResourceError):  # what it said before is heard all the same
                            await self._send(event.response())
                    elif isinstance(event, CloseConnection):
                        return event.code
                    elif isinstance(event, TextMessage):
                        self._text += event.data
                        if event.message_finished:
                            text, self._text = self._text, ""
                            return json.loads(text)
                try:
                    piece = await self.stream.receive_some(65536)
                except trio.BrokenResourceError:
                    return 1006
                if not piece:
                    return 1006
                self.protocol.receive_data(bytes(piece))
                self._events.extend(self.protocol.events())

    async def until(self, wanted: Callable[[Any], Any]) -> Any:
        """The first message for which `wanted` is true."""
        while True:
            message = await self.hear()
            assert isinstance(message, dict), message
            if wanted(message):
                return message

    async def ask(self, number: int = 1, **request: Any) -> Any:
        await self.say(id=number, ask=request)
        return (await self.until(lambda message: message.get("id") == number))["answer"]


class Engine:
    """What the panel sees of an engine: it echoes each request, and sends frames when asked to."""

    def __init__(self) -> None:
        self.asked: list[dict[str, Any]] = []
        self.followers: list[trio.SocketStream] = []
        self.first = FIRST_FRAME
        self.rig = ""
        self.slow = trio.Event()  # until it is set, "ports" is not answered
        self.moved = trio.Event()

    @asynccontextmanager
    async def playing(self) -> AsyncIterator[None]:
        """Runs until the end of the block."""
        path = socket_path(NAME)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        listening = trio.socket.socket(trio.socket.AF_UNIX, trio.socket.SOCK_STREAM)
        await listening.bind(os.fspath(path))
        listening.listen(16)
        async with trio.open_nursery() as nursery:
            nursery.start_soon(trio.serve_listeners, self._talk, [trio.SocketListener(listening)])
            yield
            nursery.cancel_scope.cancel()
        path.unlink()

    async def tell(self, **frame: Any) -> None:
        for follower in self.followers:
            with contextlib.suppress(trio.BrokenResourceError):
                await follower.send_all(json.dumps({"frame": frame}).encode() + b"\n")

    async def followed(self, times: int = 1) -> None:
        await self.until(lambda: len(self.followers) == times)

    async def until(self, so: Callable[[], bool]) -> None:
        """Wait until others have made this true."""
        with trio.fail_after(DEADLINE):
            while not so():
                await self.moved.wait()

    def _move(self) -> None:
        self.moved.set()
        self.moved = trio.Event()

    async def _talk(self, stream: trio.SocketStream) -> None:
        rest = b""
        with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
            async with stream:
                try:
                    async for piece in stream:
                        *lines, rest = (rest + bytes(piece)).split(b"\n")
                        for line in lines:
                            await self._answer(stream, json.loads(line))
                finally:
                    if stream in self.followers:
                        self.followers.remove(stream)
                        self._move()

    async def _answer(self, stream: trio.SocketStream, request: dict[str, Any]) -> None:
        self.asked.append(request)
        self._move()
        if request.get("do") == "follow":
            self.followers.append(stream)
            self._move()
            await stream.send_all(json.dumps({"frame": self.first}).encode() + b"\n")
        elif "do" in request:
            if request["do"] == "ports":
                await self.slow.wait()
            answer = {"done": True, "text": f"done: {request['do']}", "asked": request}
            if request["do"] == "rig" and self.rig:
                answer["rig"] = self.rig
            await stream.send_all(json.dumps(answer).encode() + b"\n")


def network_address(loopback: str) -> str | None:
    """The address on the network of a machine that a test made (`Ends.as_phone`); None for the panel's own machine."""
    machine = int(loopback.rpartition(".")[2])
    return None if machine == 1 else f"198.51.100.{machine}"


def end_on_network(stream: trio.SocketStream) -> tuple[str, bool]:
    """In place of `engine.panel.connections.end_of`: the same for machines that a test made."""
    loopback = stream.socket.getpeername()[0]
    address = network_address(loopback)
    return address or loopback, address is None


@asynccontextmanager
async def panel(folder: Path, from_phone: bool = False, tls: ssl.SSLContext | None = None) -> AsyncIterator[Ends]:
    """A panel of the engine NAME on a free port; `from_phone`: every connection seems to come from a phone."""
    codes: dict[Role, str] = {}
    follower = EngineFollower(NAME)
    pairing = Pairing(folder / "pairings.json", codes.__setitem__)
    pairing.begin()
    (listener,) = await trio.open_tcp_listeners(0, host="127.0.0.1")
    port = listener.socket.getsockname()[1]
    application = Panel(NAME, follower, pairing, port, tls is not None)
    guarded: Any = RequestGuard(application.app, {"laptop.local"}, tls is not None)

    def seen(scope: Any) -> Any:
        address = PHONE if from_phone else network_address(scope["client"][0])
        return scope if address is None else {**scope, "client": (address, 4711), "server": (HERE, port)}

    async def app(scope: Any, receive: Any, send: Any) -> None:
        await guarded(seen(scope), receive, send)

    connections = Connections(app, lambda scope: application.role_of(seen(scope)), LONGEST, tls)
    async with trio.open_nursery() as nursery:
        nursery.start_soon(follower.run)
        nursery.start_soon(trio.serve_listeners, connections.serve, [listener])
        ends = Ends(port, codes, tls is not None)
        yield ends.as_phone() if from_phone else ends
        nursery.cancel_scope.cancel()


def texts(value: Any) -> Iterator[str]:
    """Every text in a JSON value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | dict):
        for each in value if isinstance(value, list) else [*value, *value.values()]:
            yield from texts(each)
