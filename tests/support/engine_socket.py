"""Both ends of an engine's socket."""

import contextlib
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import trio

from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import Elsewhere, RigSession
from engine.live.process.instance_lock import InstanceLock, claim_socket
from engine.live.process.worker_threads import to_its_end
from engine.live.socket import client
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.ports.memory import MemorySystem
from tests.support.small_show import Bench
from tests.support.waiting import WITHIN


@contextlib.contextmanager
def claimed(name: str = "pit") -> Iterator[InstanceLock]:
    """Take a name until the end of the block."""
    claim = claim_socket(name)
    try:
        yield claim
    finally:
        claim.release()


@contextlib.asynccontextmanager
async def serving(
    bench: Bench,
    file: Path = Path("pit.toml"),
    text: str = "",
    system: MemorySystem | None = None,
    elsewhere: Elsewhere = to_its_end,
) -> AsyncIterator[Any]:
    """The engine named pit, answering; `text` is what its rig was read from, `elsewhere` its worker."""
    with claimed() as claim:
        async with trio.open_nursery() as nursery:
            session = RigSession(bench.show, file, text, elsewhere)
            panel = PanelRequests(bench.show, session, system or MemorySystem("pit"))
            work = RemoteWork(bench.show, session)
            server = SocketServer(bench.show, session, RigSaver(session), work, panel, claim.listener)
            nursery.start_soon(server.serve)
            yield claim.path
            nursery.cancel_scope.cancel()


async def ask(request: dict[str, Any]) -> dict[str, Any]:
    """One request to it, one answer, which may take longer than a player would wait: it may start a process."""
    return await trio.to_thread.run_sync(client.ask, "pit", request, WITHIN)


async def line_of(stream: trio.SocketStream) -> bytes:
    """One line that the engine sends; if it hangs up first, what came before."""
    line = b""
    with trio.fail_after(30), contextlib.suppress(trio.BrokenResourceError):
        while not line.endswith(b"\n"):
            piece = await stream.receive_some(1)
            if not piece:
                break
            line += piece
    return line
