"""The panel's web application: the page, its files, the pairing form and the live socket."""

import contextlib
import math
from html import escape
from typing import Final
from urllib.parse import parse_qs

import trio
from starlette.applications import Starlette
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket

from engine.panel import browser_socket
from engine.panel.engine_follower import EngineFollower
from engine.panel.page_files import PageFile, answer, page_files
from engine.panel.pairing import LASTS, Pairing, PairingRefused, Role
from engine.panel.request_guard import is_loopback
from engine.panel.shared_looks import SharedLooks

_MOST_SOCKETS: Final = 32
_LONGEST_FORM: Final = 1000  # bytes
_SAID: Final = b"<!-- said -->"  # where the pairing form shows what went wrong


class Panel:
    """The web application of one engine's panel."""

    def __init__(self, engine: str, follower: EngineFollower, pairing: Pairing, port: int, tls: bool) -> None:
        """`engine`: its name. `port` distinguishes the cookies of several panels on one machine."""
        self._engine = engine
        self._follower = follower
        self._looks = SharedLooks(engine, follower.situation)
        self._pairing = pairing
        self._cookie = f"bayleaf-{port}"
        self._tls = tls
        self._files = page_files()
        self._sockets = trio.CapacityLimiter(_MOST_SOCKETS)
        self.app = Starlette(
            routes=[
                Route("/", self._page),
                Route("/page/{name}", self._file),
                Route("/pair", self._pair, methods=["POST"]),
                WebSocketRoute("/live", self._live),
            ]
        )
        self.app.router.redirect_slashes = False

    def _role(self, connection: HTTPConnection) -> Role | None:
        """What this browser may do. Browsers on this machine may do everything."""
        if is_loopback(connection.scope["client"]) and is_loopback(connection.scope["server"]):
            return "operate"
        return self._pairing.role_of(connection.cookies.get(self._cookie, ""))

    async def _page(self, request: Request) -> Response:
        if self._role(request) is None:
            return self._form(request, 403, "")
        return answer(request, self._files["index.html"])

    async def _file(self, request: Request) -> Response:
        """A file of the page; it is the same for every browser, paired or not."""
        file = self._files.get(request.path_params["name"])
        return Response(status_code=404) if file is None else answer(request, file)

    async def _pair(self, request: Request) -> Response:
        body = b""
        async with contextlib.aclosing(request.stream()) as pieces:
            async for piece in pieces:
                body += piece
                if len(body) > _LONGEST_FORM:
                    return self._form(request, 413, "That is too long for a code.")
        code = parse_qs(body.decode("latin-1")).get("code", [""])[0]
        try:
            token, _ = self._pairing.pair(code, request.scope["client"][0])
        except PairingRefused as fault:
            shown = self._form(request, 429 if fault.wait else 403, str(fault))
            if fault.wait:
                shown.headers["retry-after"] = str(math.ceil(fault.wait))
            return shown
        paired = RedirectResponse("/", 303)
        paired.set_cookie(self._cookie, token, max_age=LASTS, secure=self._tls, httponly=True, samesite="strict")
        return paired

    def _form(self, request: Request, status: int, said: str) -> Response:
        form = self._files["pair.html"]
        body = form.body.replace(_SAID, escape(said).encode())
        return answer(request, PageFile.of(form.kind, body), status)

    async def _live(self, socket: WebSocket) -> None:
        role = self._role(socket)
        if role is None:
            await socket.close(1008)  # before it is accepted: answered by status 403
            return
        try:
            self._sockets.acquire_on_behalf_of_nowait(socket)
        except trio.WouldBlock:
            await socket.accept()
            await socket.close(1013, "too many browsers are open on this panel")
            return
        try:
            await browser_socket.BrowserSocket(socket, role, self._engine, self._follower, self._looks).run()
        finally:
            self._sockets.release_on_behalf_of(socket)
