"""The panel's process from start to end: options, certificate, port, tasks."""

import os
import signal
import socket
import ssl
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import trio

from engine.fault_log import faults, panel_log_file
from engine.live.socket.client import socket_path
from engine.panel.app import Panel
from engine.panel.browser_opening import open_in_browser
from engine.panel.browser_socket import LONGEST
from engine.panel.connections import Connections
from engine.panel.engine_follower import EngineFollower
from engine.panel.paired_browsers import Role, forget, pairings_file
from engine.panel.pairing import Pairing
from engine.panel.pairing_display import lan_addresses, pairing_text
from engine.panel.request_guard import RequestGuard

_LOOPBACK: Final = "127.0.0.1"
_BACKLOG: Final = 64


class PanelError(Exception):
    """The panel cannot start; the text says why and what to do."""


class PanelOptions(NamedTuple):
    """The options of `bayleaf panel`."""

    name: str
    port: int
    lan: bool = False
    cert: Path | None = None
    key: Path | None = None
    hosts: Sequence[str] = ()
    forget: bool = False
    with_engine: bool = False
    open_page: bool = False


def serve(wish: PanelOptions, say: Callable[[str], None]) -> None:
    """Until SIGINT or SIGTERM; with `with_engine` until standard input ends, as it does when the engine ends.

    `say` gets addresses and codes for the terminal. Raises PanelError, and NoEngine as `socket_path`.
    """
    socket_path(wish.name)
    tls = _tls(wish)
    if wish.forget:  # before the port is taken: the panel that has it is the one to be reached
        _forget(pairings_file(wish.name))
        say("all pairings were revoked")
    listener = _listener(wish)
    if wish.with_engine:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is meant for the engine, which ends us
    with faults.kept_in(panel_log_file(wish.name)):
        trio.run(_serve, wish, say, listener, tls)


async def _serve(
    wish: PanelOptions, say: Callable[[str], None], listener: socket.socket, tls: ssl.SSLContext | None
) -> None:
    port = listener.getsockname()[1]
    scheme = "http" if tls is None else "https"
    others = [f"{scheme}://{host}:{port}/" for host in (*wish.hosts, *lan_addresses())] if wish.lan else []

    def show(role: Role, code: str) -> None:
        say(pairing_text(role, code, others[0] if others else None))

    follower = EngineFollower(wish.name)
    pairing = Pairing(pairings_file(wish.name), show)
    panel = Panel(wish.name, follower, pairing, port, tls is not None, others[0] if others else None)
    guarded = RequestGuard(panel.app, _names(wish), tls is not None)
    connections = Connections(guarded, panel.role_of, LONGEST, tls)
    heeded = (signal.SIGTERM,) if wish.with_engine else (signal.SIGINT, signal.SIGTERM)
    with trio.open_signal_receiver(*heeded) as signals:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(follower.run)
            sockets = trio.SocketListener(trio.socket.from_stdlib_socket(listener))
            await nursery.start(trio.serve_listeners, connections.serve, [sockets])
            if wish.with_engine:
                nursery.start_soon(_end_with_input, nursery.cancel_scope)
            for address in (f"{scheme}://{_LOOPBACK}:{port}/", *others):
                say(address)
            if wish.open_page:
                nursery.start_soon(open_in_browser, f"{scheme}://{_LOOPBACK}:{port}/")
            if wish.lan:
                pairing.begin()
            await anext(signals)
            nursery.cancel_scope.cancel()


def _names(wish: PanelOptions) -> frozenset[str]:
    """The host names that browsers may use for this machine, beside its addresses."""
    own = socket.gethostname().lower()
    return frozenset((own, f"{own}.local", *(host.lower() for host in wish.hosts))) if wish.lan else frozenset()


def _tls(wish: PanelOptions) -> ssl.SSLContext | None:
    if (wish.cert is None) != (wish.key is None):
        raise PanelError("--cert and --key go together: give the certificate's file and its key's")
    if wish.cert is None or wish.key is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(wish.cert, wish.key, password=lambda: "")
    except (OSError, ValueError) as fault:  # ssl.SSLError is an OSError
        raise PanelError(f"the certificate {wish.cert} with the key {wish.key} cannot be used: {fault}") from None
    return context


def _forget(file: Path) -> None:
    try:
        forget(file)
    except OSError as fault:
        raise PanelError(f"the pairings in {file} cannot be revoked: {fault.strerror}") from None


def _listener(wish: PanelOptions) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("0.0.0.0" if wish.lan else _LOOPBACK, wish.port))
        listener.listen(_BACKLOG)
    except (OSError, OverflowError) as fault:
        listener.close()
        reason = getattr(fault, "strerror", None) or fault
        raise PanelError(f"port {wish.port} cannot be used ({reason}); choose another one") from None
    return listener


async def _end_with_input(scope: trio.CancelScope) -> None:
    async with trio.lowlevel.FdStream(os.dup(sys.stdin.fileno())) as given:
        while await given.receive_some(4096):
            pass
    scope.cancel()
