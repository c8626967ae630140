"""Clients of a socket at which more connections wait than the system keeps: unix(7), listen(2)."""

import contextlib
import json
import socket
from collections.abc import Iterator

import pytest
import trio

from engine.live.process.instance_lock import InstanceLock
from engine.live.socket import client
from engine.panel import engine_socket
from tests.support.engine_socket import ask, claimed, line_of

pytestmark = pytest.mark.usefixtures("runtime_dir")


@contextlib.contextmanager
def _crowded() -> Iterator[tuple[InstanceLock, list[socket.socket]]]:
    """An engine's socket with as many connections as may wait; it takes none yet."""
    with contextlib.ExitStack() as stack:
        claim = stack.enter_context(claimed())
        waiting: list[socket.socket] = []
        with contextlib.suppress(BlockingIOError):
            while True:
                talk = stack.enter_context(socket.socket(socket.AF_UNIX))
                talk.setblocking(False)
                talk.connect(str(claim.path))
                waiting.append(talk)
        yield claim, waiting


async def _answer_all(claim: InstanceLock, waiting: list[socket.socket], lines: list[bytes]) -> None:
    """Take those that wait and hang up; then answer one request."""
    listener = trio.socket.from_stdlib_socket(claim.listener.dup())
    for _ in waiting:
        (await listener.accept())[0].close()
    stream = trio.SocketStream((await listener.accept())[0])
    lines.append(await line_of(stream))
    await stream.send_all(b'{"done": true, "text": "answered"}\n')
    await stream.aclose()
    listener.close()


async def test_who_meets_too_many_others_waits_for_a_turn() -> None:
    """Many connections that wait to be taken lose nobody's command: neither the shell's nor a browser's."""
    for ask_it in (
        lambda: ask({"do": "panic"}),
        lambda: engine_socket.ask("pit", {"do": "panic"}, 30),
    ):
        lines: list[bytes] = []
        with _crowded() as (claim, waiting):
            assert len(waiting) > 1
            async with trio.open_nursery() as both:
                both.start_soon(ask_it)
                await trio.sleep(0.1)
                both.start_soon(_answer_all, claim, waiting, lines)
        assert [json.loads(line) for line in lines] == [{"do": "panic"}]


def test_too_many_others_are_reported_as_such() -> None:
    """An engine that takes nobody is not said to be missing."""
    with _crowded(), pytest.raises(client.NoEngine, match="too many connections that wait; try again"):
        client.ask("pit", {"do": "panic"}, patience=0.1)
