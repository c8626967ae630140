"""Serves HTTP and WebSocket connections with hypercorn, each on its own: a broken or slow browser ends alone.

`hypercorn.trio.serve` runs all connections in one nursery, and a byte after a WebSocket upgrade request makes it raise:
anybody who reaches the port could disconnect everybody else. It also waits without end for a browser that does not
read. So this module uses hypercorn's inner parts; `tests/panel/test_hypercorn_contract.py` holds what they must do.
"""

import ssl
from collections.abc import Callable
from typing import Any, Final, cast

import h11
import trio
from hypercorn.config import Config
from hypercorn.trio.tcp_server import TCPServer
from hypercorn.trio.worker_context import WorkerContext
from hypercorn.typing import AppWrapper, ASGIFramework, ConnectionState
from hypercorn.utils import wrap_app
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketDisconnect

from engine.fault_log import faults
from engine.panel.paired_browsers import Role
from engine.panel.places import Place, Places
from engine.panel.request_guard import is_loopback

_READS_WITHIN: Final = 5.0  # seconds
_SHAKES_HANDS_WITHIN: Final = 5.0  # seconds
PING: Final = 5.0  # seconds
SILENCE: Final = 20.0  # seconds, in which a browser answers some pings
#: what the application meets when a browser goes in the middle of a request
_GOING: Final = (ClientDisconnect, WebSocketDisconnect)
#: what hypercorn lets through when a browser breaks off, or breaks HTTP or TLS; h11 comes with hypercorn
_BREAKING: Final = (OSError, trio.BrokenResourceError, trio.ClosedResourceError, h11.ProtocolError)


class Line(trio.abc.HalfCloseableStream):
    """A TCP connection that breaks when the other end does not read."""

    def __init__(self, stream: trio.SocketStream, place: Place) -> None:
        """Around a plain one."""
        self._stream = stream
        self._place = place
        self.socket = stream.socket

    async def send_all(self, data: bytes | bytearray | memoryview) -> None:
        """Within a few seconds, even where cancelling is shielded off. Raises trio.BrokenResourceError."""
        with trio.move_on_after(_READS_WITHIN) as patience:
            try:
                await self._stream.send_all(data)
            except trio.BusyResourceError:  # hypercorn is just closing it
                raise trio.BrokenResourceError("the browser has gone") from None
        if patience.cancelled_caught:
            await trio.aclose_forcefully(self._stream)
            raise trio.BrokenResourceError("the browser does not read")

    async def wait_send_all_might_not_block(self) -> None:
        """As the plain one."""
        await self._stream.wait_send_all_might_not_block()

    async def receive_some(self, max_bytes: int | None = None) -> bytes | bytearray:
        """As the plain one; the place notes it."""
        received = await self._stream.receive_some(max_bytes)
        self._place.heard()
        return received

    async def send_eof(self) -> None:
        """As the plain one."""
        await self._stream.send_eof()

    async def aclose(self) -> None:
        """As the plain one."""
        await self._stream.aclose()


class Connections:
    """Serves an ASGI application on whatever connections come."""

    def __init__(
        self, app: ASGIApp, role_of: Callable[[Scope], Role | None], longest: int, tls: ssl.SSLContext | None
    ) -> None:
        """`role_of`: what the browser that sent a request may do. `longest`: bytes of a WebSocket message."""
        self._app = app
        self._role_of = role_of
        self._config = hypercorn_config(longest)
        self._context = WorkerContext(None)
        self._tls = tls
        self._places = Places()

    async def serve(self, stream: trio.SocketStream) -> None:
        """One connection until it ends, or gives way to others."""
        try:
            address, here = end_of(stream)
            with self._places.taken(address, here) as place, place.scope:
                await TCPServer(
                    self._app_for(place), self._config, self._context, ConnectionState({}), self._secured(stream, place)
                )
        except Exception as fault:  # what it could break is this connection
            _record("serving a connection", fault, _BREAKING)
        finally:
            await trio.aclose_forcefully(stream)

    def _app_for(self, place: Place) -> AppWrapper:
        """The application, for the requests of one connection; hypercorn drops what it raises: that is logged here."""

        async def app(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["http_version"] == "2":  # it would carry any number of requests at once
                place.scope.cancel()
                return
            try:
                place.hurry()
                self._places.show(place, self._role_of(scope))
                if scope["type"] == "websocket":
                    place.stay()
                await self._app(scope, receive, send)
            except Exception as fault:
                _record(f"serving {scope.get('path')}", fault, _GOING)
                raise
            finally:
                place.rest()

        # hypercorn and starlette have names of their own for the types of ASGI
        return wrap_app(cast(ASGIFramework, app), self._config.wsgi_max_body_size, "asgi")

    def _secured(self, stream: trio.SocketStream, place: Place) -> Any:
        """For hypercorn, whose type of a stream is narrower than what it uses."""
        line = Line(stream, place)
        if self._tls is None:
            return line
        return trio.SSLStream(line, self._tls, server_side=True, https_compatible=True)


def end_of(stream: trio.SocketStream) -> tuple[str, bool]:
    """The address of the other end, and whether that is this machine. Raises OSError if it has gone already."""
    peer = stream.socket.getpeername()
    return peer[0], is_loopback(peer)


def _record(doing: str, fault: Exception, browsers: tuple[type[Exception], ...]) -> None:
    """Log a fault, unless it is one of these, which a browser causes."""
    own = fault.split(browsers)[1] if isinstance(fault, ExceptionGroup) else fault
    if own is not None and not isinstance(own, browsers):
        faults.record(doing, own)


def hypercorn_config(longest: int) -> Config:
    """No log, no server header, and every limit of a connection; `longest`: bytes of a WebSocket message."""
    config = Config()
    config.accesslog = config.errorlog = None
    config.include_server_header = False
    config.ssl_handshake_timeout = _SHAKES_HANDS_WITHIN
    config.read_timeout = int(SILENCE)
    config.websocket_ping_interval = PING
    config.websocket_max_message_size = longest
    return config
