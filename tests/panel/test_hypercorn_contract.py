"""The inner modules of hypercorn that the panel relies on: their names, signatures and behaviour.

hypercorn offers no public way to serve one connection. `engine/panel/connections.py` therefore uses the parts named
here, and pyproject.toml pins the release. If a newer release fails a test below, change `connections.py` first and the
pin afterwards.
"""

import inspect
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from socket import AF_INET
from typing import Any

import pytest
import trio
from hypercorn.config import Config
from hypercorn.trio.tcp_server import TCPServer
from hypercorn.trio.worker_context import WorkerContext
from hypercorn.typing import ConnectionState
from hypercorn.utils import wrap_app
from trio.testing import MockClock, memory_stream_pair
from wsproto import ConnectionType
from wsproto.connection import Connection
from wsproto.events import CloseConnection, Ping, TextMessage

from engine.panel import connections

LONGEST = 1000
GET = b"GET / HTTP/1.1\r\nHost: here\r\n\r\n"
UPGRADE = (
    b"GET /live HTTP/1.1\r\nHost: here\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
    b"Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n"
)


class _Socket:
    """All that hypercorn asks of a stream's socket."""

    family = AF_INET

    def getpeername(self) -> tuple[str, int]:
        return "192.0.2.7", 4711

    def getsockname(self) -> tuple[str, int]:
        return "192.0.2.1", 80


class _Stream:
    """All that hypercorn asks of a plain stream; any other attribute it uses would fail here."""

    def __init__(self, inner: Any, unread: bool = False) -> None:
        self._inner = inner
        self._unread = unread
        self.socket = _Socket()

    async def send_all(self, data: bytes) -> None:
        if self._unread:  # as connections.Line reports a browser that does not read
            raise trio.BrokenResourceError
        await self._inner.send_all(data)

    async def receive_some(self, max_bytes: int) -> bytes:
        return bytes(await self._inner.receive_some(max_bytes))

    async def send_eof(self) -> None:
        await self._inner.send_eof()

    async def aclose(self) -> None:
        await self._inner.aclose()


async def _app(scope: Any, receive: Callable[[], Any], send: Callable[[Any], Any]) -> None:
    """Answers a request with where it came from, and a socket with its own texts until it is closed."""
    if scope["type"] == "http":
        client = repr(tuple(scope["client"])).encode()
        await send(
            {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(client))]}
        )
        await send({"type": "http.response.body", "body": client})
        return
    await receive()
    await send({"type": "websocket.accept"})
    while (message := await receive())["type"] == "websocket.receive":
        await send({"type": "websocket.send", "text": message["text"]})


@asynccontextmanager
async def _served(unread: bool = False) -> AsyncIterator[tuple[Any, trio.Event]]:
    """The browser's end of a served connection, and an event set when the server ends."""
    config = connections.hypercorn_config(LONGEST)
    app = wrap_app(_app, config.wsgi_max_body_size, "asgi")
    ours, theirs = memory_stream_pair()
    ended = trio.Event()

    async def serve() -> None:
        stream: Any = _Stream(theirs, unread)  # not a socket's stream, as the annotation there asks
        await TCPServer(app, config, WorkerContext(None), ConnectionState({}), stream)
        ended.set()

    async with trio.open_nursery() as nursery:
        nursery.start_soon(serve)
        yield ours, ended
        nursery.cancel_scope.cancel()


async def _head(stream: Any) -> bytes:
    """The head of the answer."""
    raw = b""
    while not raw.endswith(b"\r\n\r\n"):
        raw += await stream.receive_some(1)
    return raw


@pytest.mark.parametrize(
    ("inner", "parameters"),
    [
        (TCPServer, ["app", "config", "context", "state", "stream"]),
        (WorkerContext, ["max_requests"]),
        (wrap_app, ["app", "wsgi_max_body_size", "mode"]),
    ],
)
def test_what_is_called_has_these_parameters(inner: Callable[..., Any], parameters: list[str]) -> None:
    """TCPServer, WorkerContext and wrap_app are called by position."""
    found = list(inspect.signature(inner).parameters)
    assert found == parameters, f"hypercorn changed {inner.__qualname__}: see engine/panel/connections.py"


@pytest.mark.parametrize(
    "option",
    [
        *("accesslog", "errorlog", "include_server_header", "ssl_handshake_timeout", "read_timeout"),
        *("websocket_ping_interval", "websocket_max_message_size", "wsgi_max_body_size"),
    ],
)
def test_options_that_are_set_exist(option: str) -> None:
    """Config silently accepts any attribute: an option that was renamed would no longer limit anything."""
    assert hasattr(Config(), option), f"hypercorn's Config has no {option}: see engine/panel/connections.py"


async def test_a_request_is_answered_with_the_ends_of_the_socket(autojump_clock: MockClock) -> None:
    """The scope's client is the socket's peer; the answer names no server software."""
    async with _served() as (browser, _):
        await browser.send_all(GET)
        head = await _head(browser)
        assert head.startswith(b"HTTP/1.1 200")
        assert b"\r\nserver:" not in head.lower()
        assert b"192.0.2.7" in await browser.receive_some(100)


async def test_the_server_ends_with_the_connection(autojump_clock: MockClock) -> None:
    """Awaiting a TCPServer returns once the browser has closed and the time for an idle connection is over."""
    async with _served() as (browser, ended):
        await browser.aclose()
        with trio.fail_after(Config().keep_alive_timeout + 1):
            await ended.wait()


async def test_a_silent_connection_ends_within_the_read_timeout(autojump_clock: MockClock) -> None:
    """`read_timeout` seconds without a byte end the server, before a request and, at the next ping, on a WebSocket."""
    for request in (b"", UPGRADE):
        async with _served() as (browser, ended):
            await browser.send_all(request)
            with trio.fail_after(connections.SILENCE + connections.PING + 1):
                await ended.wait()


async def test_pings_come_at_their_interval(autojump_clock: MockClock) -> None:
    """An open WebSocket is pinged every `websocket_ping_interval` seconds: a working browser is never silent."""
    async with _served() as (browser, _):
        await browser.send_all(UPGRADE)
        assert (await _head(browser)).startswith(b"HTTP/1.1 101")
        protocol, begun, pings = Connection(ConnectionType.CLIENT), trio.current_time(), 0
        while pings < 5:
            protocol.receive_data(await browser.receive_some(100))
            for event in protocol.events():
                assert isinstance(event, Ping)
                pings += 1
                await browser.send_all(protocol.send(event.response()))
        assert trio.current_time() - begun == pytest.approx(4 * connections.PING, abs=0.5)


@pytest.mark.parametrize(("length", "closed"), [(LONGEST, None), (LONGEST + 1, 1009)])
async def test_messages_are_limited(autojump_clock: MockClock, length: int, closed: int | None) -> None:
    """`websocket_max_message_size` is delivered; a longer message closes with 1009 (RFC 6455, 7.4.1)."""
    async with _served() as (browser, _):
        await browser.send_all(UPGRADE)
        await _head(browser)
        protocol = Connection(ConnectionType.CLIENT)
        await browser.send_all(protocol.send(TextMessage("x" * length)))
        text = ""
        while True:
            protocol.receive_data(await browser.receive_some(4096))
            for event in protocol.events():
                if isinstance(event, CloseConnection):
                    assert event.code == closed
                    return
                if isinstance(event, TextMessage):
                    text += event.data
            if len(text) == length:
                assert closed is None
                return


async def test_a_stream_that_breaks_while_sending_ends_the_server(autojump_clock: MockClock) -> None:
    """BrokenResourceError from `send_all` ends the connection, although hypercorn shields its sending."""
    async with _served(unread=True) as (browser, ended):
        await browser.send_all(GET)
        with trio.fail_after(connections.SILENCE + 1):
            await ended.wait()
