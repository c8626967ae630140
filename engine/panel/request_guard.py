"""Checks of Host and Origin that every request must pass, and the security headers of every answer.

A page of another site must not reach the panel through the player's own browser: neither by a name that an attacker
points at this machine (DNS rebinding: the Host header shows it), nor by a form or WebSocket of its own (the Origin
header shows it, RFC 6454 section 7 and RFC 6455 section 10.2).
"""

from collections.abc import Collection
from ipaddress import ip_address
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Content Security Policy Level 3; no inline code, no text turned into markup, no other host
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
)
_HEADERS: Final = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    # "no-referrer" would make browsers send the origin "null" with our own form (Fetch standard, section 3.2)
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
_NEEDS_ORIGIN: Final = ("POST", "WEBSOCKET")


def is_loopback(address: tuple[str, int] | None) -> bool:
    """Whether this is the address of a connection within this machine."""
    try:
        return address is not None and ip_address(address[0]).is_loopback
    except ValueError:
        return False


def is_the_players(scope: Scope) -> bool:
    """Whether a request comes from this machine and names it by "localhost" or an address.

    By any other name a stranger's page may have come: anybody on a network can answer for this machine's name, first
    with an address of their own and then with the loopback address.
    """
    if not is_loopback(scope["client"]) or not is_loopback(scope["server"]):
        return False
    return all(_is_nobody_elses(_name_and_port(host)[0]) for host in _values(scope, b"host"))


class RequestGuard:
    """An ASGI application that guards another one."""

    def __init__(self, app: ASGIApp, names: Collection[str], tls: bool) -> None:
        """`names`: host names of this machine, in lower case, beside its addresses and "localhost"."""
        self._app = app
        self._names = names
        self._tls = tls

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse the request or pass it on."""
        reason = self._refusal(scope)
        if scope["type"] == "websocket":
            if reason is None:
                await self._app(scope, receive, send)
            else:
                await send({"type": "websocket.close", "code": 1008})  # before "accept": answered by status 403
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        if reason is None:
            await self._app(scope, receive, send_guarded)
        else:
            kind = [(b"content-type", b"text/plain; charset=utf-8")]
            await send_guarded({"type": "http.response.start", "status": 403, "headers": kind})
            await send_guarded({"type": "http.response.body", "body": reason.encode()})

    def _refusal(self, scope: Scope) -> str | None:
        """Why a request is refused, or None."""
        hosts = _values(scope, b"host")
        if len(hosts) != 1 or not self._is_ours(hosts[0], scope["server"]):
            return "this panel is not reached by that name; open the address that the terminal shows"
        origins = _values(scope, b"origin")
        method = scope.get("method", "WEBSOCKET")
        if not origins and method not in _NEEDS_ORIGIN:
            return None
        if origins != [f"{'https' if self._tls else 'http'}://{hosts[0]}"]:
            return "this panel does not take requests from pages of other sites"
        return None

    def _is_ours(self, host: str, server: tuple[str, int]) -> bool:
        """Whether a Host header names the end that the connection came to.

        An address cannot be rebound, so the one that was connected to is right; a name must be known.
        """
        name, digits = _name_and_port(host)
        if (digits or ("443" if self._tls else "80")) != str(server[1]):
            return False
        try:
            return ip_address(name.strip("[]")) == ip_address(server[0])
        except ValueError:
            return name in self._names or (name == "localhost" and is_loopback(server))


def _values(scope: Scope, header: bytes) -> list[str]:
    return [value.decode("latin-1").lower() for key, value in scope["headers"] if key == header]


def _name_and_port(host: str) -> tuple[str, str]:
    """The two parts of a Host header; the port is empty if it has none."""
    if host.endswith("]") or ":" not in host:
        return host, ""
    name, _, digits = host.rpartition(":")
    return name, digits


def _is_nobody_elses(name: str) -> bool:
    """Whether this name cannot be pointed elsewhere."""
    try:
        ip_address(name.strip("[]"))
    except ValueError:
        return name == "localhost"
    return True
