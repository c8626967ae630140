"""The connection that follows an engine, with a stand-in for the engine that sends what the test says; virtual time."""

import json
from contextlib import aclosing
from pathlib import Path
from typing import Any

import pytest
import trio
import trio.testing

from engine.panel.engine_follower import EngineFollower
from engine.panel.engine_socket import lines
from engine.panel.frame_merging import StatusFrame

FRAME = {"frame": {"revision": 7}}
SILENT = 'the engine "pit" has sent nothing for 3 seconds'


class Looking:
    """An onlooker that records frames and sentences."""

    awake, events = True, False

    def __init__(self) -> None:
        self.frames = 0
        self.said: list[str] = []

    def frame(self, frame: StatusFrame) -> None:
        self.frames += 1

    def gone(self, text: str) -> None:
        self.said.append(text)


class Followed:
    """A follower, its onlooker, and the other end of its connection."""

    def __init__(self, mock_clock: trio.testing.MockClock) -> None:
        self._clock = mock_clock
        self.follower = EngineFollower("pit")
        self.looking = Looking()
        self._streams: list[trio.SocketStream] = []
        self.asked: list[Any] = []

    async def serve(self, stream: trio.SocketStream) -> None:
        self._streams.append(stream)
        async with aclosing(lines(stream)) as received:
            async for line in received:
                self.asked.append(json.loads(line))

    async def send(self, text: bytes) -> None:
        await self._streams[-1].send_all(text)
        await trio.testing.wait_all_tasks_blocked()

    async def end(self) -> None:
        await self._streams[-1].send_eof()
        await trio.testing.wait_all_tasks_blocked()

    async def passes(self, *steps: float) -> None:
        """Let time pass (s); in each step nobody gets the processor until its end."""
        for step in steps:
            self._clock.jump(step)
            await trio.testing.wait_all_tasks_blocked()


@pytest.fixture
async def followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mock_clock: trio.testing.MockClock, nursery: trio.Nursery
) -> Followed:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    (tmp_path / "bayleaf").mkdir(mode=0o700)
    listener = trio.socket.socket(trio.socket.AF_UNIX, trio.socket.SOCK_STREAM)
    await listener.bind(str(tmp_path / "bayleaf" / "pit.sock"))
    listener.listen()
    made = Followed(mock_clock)
    await nursery.start(trio.serve_listeners, made.serve, [trio.SocketListener(listener)])
    made.follower.join(made.looking)
    nursery.start_soon(made.follower.run)
    await trio.testing.wait_all_tasks_blocked()
    assert made.asked == [{"do": "follow", "events": False}]
    return made


async def test_an_engine_that_sends_nothing_is_gone(mock_clock: trio.testing.MockClock, followed: Followed) -> None:
    """The browsers get that sentence after three seconds, and the engine is asked again a second later."""
    await followed.send(json.dumps(FRAME).encode() + b"\n")
    assert (followed.looking.frames, followed.follower.situation()) == (1, {"revision": 7})
    await followed.passes(*[0.5] * 5)
    assert followed.looking.said == []
    await followed.passes(0.5, 0.5)
    assert (followed.looking.said, followed.follower.situation()) == ([SILENT], {})
    await followed.passes(1)
    assert len(followed.asked) == 2


async def test_a_frame_a_second_is_enough(mock_clock: trio.testing.MockClock, followed: Followed) -> None:
    """An engine at rest that sends a frame each second is there."""
    for _ in range(20):
        await followed.send(json.dumps(FRAME).encode() + b"\n")
        await followed.passes(0.5, 0.5)
    assert (followed.looking.frames, followed.looking.said) == (20, [])


async def test_our_own_pause_is_no_silence(mock_clock: trio.testing.MockClock, followed: Followed) -> None:
    """If the panel had no processor for a minute, the engine has as long as ever to send something."""
    await followed.passes(60)
    await followed.send(json.dumps(FRAME).encode() + b"\n")
    await followed.passes(60)
    assert (followed.looking.frames, followed.looking.said) == (1, [])


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (b"HTTP/1.1 400\n", 'what answers as the engine "pit" is not an engine'),
        (b'{"done": false, "text": "no room"}\n', 'the engine "pit" cannot be followed: no room'),
        (b"", 'the engine "pit" has ended'),
    ],
)
async def test_what_is_no_engine_is_said(
    mock_clock: trio.testing.MockClock, followed: Followed, sent: bytes, said: str
) -> None:
    """The browsers get the reason once."""
    if sent:
        await followed.send(sent)
    else:
        await followed.end()
    await followed.passes(1)
    assert followed.looking.said == [said]
