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
from starlette.types import Scope
from starlette.websockets import WebSocket

from engine.panel import browser_socket
from engine.panel.engine_follower import EngineFollower
from engine.panel.frame_merging import Facts
from engine.panel.live_places import LivePlaces, NoPlace
from engine.panel.page_files import PageFile, answer, page_files
from engine.panel.paired_browsers import LASTS, Role
from engine.panel.pairing import Pairing, PairingRefused
from engine.panel.pairing_requests import PairingRequests
from engine.panel.rehearsals import Rehearsals
from engine.panel.request_guard import is_the_players
from engine.panel.shared_looks import SharedLooks
from engine.protocol import REHEARSE

_LONGEST_FORM: Final = 1000  # bytes
_LOOK: Final = 1.0  # seconds after which a browser is gone whose pairing has ended
_SAID: Final = b"<!-- said -->"  # where the pairing form shows what went wrong


class Panel:
    """The web application of one engine's panel."""

    def __init__(
        self,
        engine: str,
        follower: EngineFollower,
        pairing: Pairing,
        port: int,
        tls: bool,
        address: str | None = None,
    ) -> None:
        """`engine`: its name. `port` distinguishes the cookies of several panels on one machine.

        `address`: what browsers of other machines open; None if they are not admitted.
        """
        self._engine = engine
        self._follower = follower
        self._looks = SharedLooks(engine, follower.situation)
        self._pairing = pairing
        self._requests = PairingRequests(pairing, address)
        self._rehearsals = Rehearsals(follower.rig_file)
        self._cookie = f"bayleaf-{port}"
        self._tls = tls
        self._files = page_files()
        self._live_places = LivePlaces()
        self.app = Starlette(
            routes=[
                Route("/", self._page),
                Route("/page/{name}", self._file),
                Route("/pair", self._pair, methods=["POST"]),
                WebSocketRoute("/live", self._live),
            ]
        )
        self.app.router.redirect_slashes = False

    def role_of(self, scope: Scope) -> Role | None:
        """What the browser that sent this request may do. Browsers on this machine may do everything."""
        return "operate" if is_the_players(scope) else self._pairing.role_of(self._token(scope))

    def _token(self, scope: Scope) -> str:
        return HTTPConnection(scope).cookies.get(self._cookie, "")

    async def _page(self, request: Request) -> Response:
        if self.role_of(request.scope) is None:
            return self._form(request, 403, "")
        page = answer(request, self._files["index.html"])
        token = self._token(request.scope)
        if self._pairing.role_of(token) is not None:  # its cookie lasts as long as its pairing
            self._pairing.browsers.renew(token)
            self._give_cookie(page, token)
        return page

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
        self._give_cookie(paired, token)
        return paired

    def _give_cookie(self, reply: Response, token: str) -> None:
        reply.set_cookie(self._cookie, token, max_age=LASTS, secure=self._tls, httponly=True, samesite="strict")

    def _form(self, request: Request, status: int, said: str) -> Response:
        form = self._files["pair.html"]
        body = form.body.replace(_SAID, escape(said).encode())
        return answer(request, PageFile.of(form.kind, body), status)

    async def _live(self, socket: WebSocket) -> None:
        role = self.role_of(socket.scope)
        if role is None:
            await socket.close(1008)  # before it is accepted: answered by status 403
            return
        token = None if is_the_players(socket.scope) else self._token(socket.scope)
        try:
            with self._live_places.taken(token, role):
                await self._look(socket, role, token)
        except NoPlace as fault:
            await socket.accept()
            await socket.close(1013, str(fault))

    async def _look(self, socket: WebSocket, role: Role, token: str | None) -> None:
        """Serve a live socket until the browser disconnects, or its pairing ends."""

        async def own(request: Facts) -> Facts:
            if request["do"] == REHEARSE:
                return (await self._rehearsals.answer(request, role)).plain()
            return self._requests.answer(request, role, token).plain()

        browser = browser_socket.BrowserSocket(socket, role, self._engine, self._follower, self._looks, own)
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._end_with_pairing, socket, role, browser)
            await browser.run()
            nursery.cancel_scope.cancel()

    async def _end_with_pairing(self, socket: WebSocket, role: Role, browser: browser_socket.BrowserSocket) -> None:
        while True:
            await trio.sleep(_LOOK)
            if self.role_of(socket.scope) != role:
                browser.end(1008, "this browser is no longer paired")
                return
            self._pairing.browsers.renew(self._token(socket.scope))
