"""Serves HTTP and WebSocket connections with hypercorn, each on its own: a broken or slow browser ends alone.

`hypercorn.trio.serve` runs all connections in one nursery, and a byte after a WebSocket upgrade request makes it raise:
anybody who reaches the port could disconnect everybody else. It also waits without end for a browser that does not
read. So this module uses hypercorn's inner parts; `tests/panel/test_hypercorn_contract.py` holds what they must do.
"""

import ssl
from typing import Any, Final, cast

import trio
from hypercorn.config import Config
from hypercorn.trio.tcp_server import TCPServer
from hypercorn.trio.worker_context import WorkerContext
from hypercorn.typing import ASGIFramework, ConnectionState
from hypercorn.utils import wrap_app
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketDisconnect

from engine.fault_log import faults
from engine.panel.request_guard import is_loopback

_MOST: Final = 100  # connections at once
_OURS: Final = 20  # of these, kept for browsers of this machine, whatever others do to the port
_READS_WITHIN: Final = 5.0  # seconds
_SHAKES_HANDS_WITHIN: Final = 5.0  # seconds
PING: Final = 5.0  # seconds
SILENCE: Final = 20.0  # seconds, in which a browser answers some pings


class Line(trio.abc.HalfCloseableStream):
    """A TCP connection that breaks when the other end does not read."""

    def __init__(self, stream: trio.SocketStream) -> None:
        """Around a plain one."""
        self._stream = stream
        self.socket = stream.socket

    async def send_all(self, data: bytes | bytearray | memoryview) -> None:
        """Within a few seconds, even where cancelling is shielded off. Raises trio.BrokenResourceError."""
        with trio.move_on_after(_READS_WITHIN) as patience:
            await self._stream.send_all(data)
        if patience.cancelled_caught:
            await trio.aclose_forcefully(self._stream)
            raise trio.BrokenResourceError("the browser does not read")

    async def wait_send_all_might_not_block(self) -> None:
        """As the plain one."""
        await self._stream.wait_send_all_might_not_block()

    async def receive_some(self, max_bytes: int | None = None) -> bytes | bytearray:
        """As the plain one."""
        return await self._stream.receive_some(max_bytes)

    async def send_eof(self) -> None:
        """As the plain one."""
        await self._stream.send_eof()

    async def aclose(self) -> None:
        """As the plain one."""
        await self._stream.aclose()


class Connections:
    """Serves an ASGI application on whatever connections come."""

    def __init__(self, app: ASGIApp, longest: int, tls: ssl.SSLContext | None) -> None:
        """`longest`: bytes of a WebSocket message that is taken."""
        self._config = hypercorn_config(longest)
        # hypercorn and starlette have names of their own for the types of ASGI
        self._app = wrap_app(cast(ASGIFramework, _logged(app)), self._config.wsgi_max_body_size, "asgi")
        self._context = WorkerContext(None)
        self._tls = tls
        self._open = 0

    async def serve(self, stream: trio.SocketStream) -> None:
        """One connection until it ends."""
        if self._open >= (_MOST if _is_ours(stream) else _MOST - _OURS):
            await trio.aclose_forcefully(stream)
            return
        self._open += 1
        try:
            await TCPServer(self._app, self._config, self._context, ConnectionState({}), self._secured(Line(stream)))
        except Exception:  # what it could break is this connection
            await trio.aclose_forcefully(stream)
        finally:
            self._open -= 1

    def _secured(self, line: Line) -> Any:
        """For hypercorn, whose type of a stream is narrower than what it uses."""
        if self._tls is None:
            return line
        return trio.SSLStream(line, self._tls, server_side=True, https_compatible=True)


def _logged(app: ASGIApp) -> ASGIApp:
    """The same application; hypercorn drops what it raises, so its faults are logged here."""

    async def logged(scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await app(scope, receive, send)
        except (ClientDisconnect, WebSocketDisconnect):  # the browser went in the middle of it
            raise
        except Exception as fault:
            faults.record(f"serving {scope.get('path')}", fault)
            raise

    return logged


def _is_ours(stream: trio.SocketStream) -> bool:
    try:
        return is_loopback(stream.socket.getpeername())
    except OSError:  # it has gone already
        return False


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
