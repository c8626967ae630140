"""The requests of one connection as lines, and long ones, which the engine does not read. (Our own protocol.)"""

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
import trio
import trio.testing
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import RecallScene
from engine.live.socket.request_lines import SHORT, request_lines
from engine.protocol import LONGEST_REQUEST, LongLine, LongText
from tests.support.engine_socket import ask, line_of, serving
from tests.support.small_show import RIG, Bench
from tests.support.working_elsewhere import memory_taken, worker_process

pytestmark = pytest.mark.usefixtures("runtime_dir")

LENGTHS = st.sampled_from((0, 1, 500, 16_383, 16_384, SHORT - 1, SHORT, SHORT + 1, 200_000))


async def _taken_in(data: bytes, pieces: Sequence[int]) -> list[bytes | LongLine]:
    """The lines of a client that sends its data in pieces of these lengths, again and again, and hangs up."""
    ours, theirs = trio.socket.socketpair()
    sends, takes = trio.SocketStream(ours), trio.SocketStream(theirs)
    found: list[bytes | LongLine] = []

    async def send() -> None:
        place, turn = 0, 0
        with contextlib.suppress(trio.BrokenResourceError):
            while place < len(data):
                await sends.send_all(data[place : place + pieces[turn % len(pieces)]])
                place, turn = place + pieces[turn % len(pieces)], turn + 1
        await sends.aclose()

    async with trio.open_nursery() as nursery:
        nursery.start_soon(send)
        async with takes, contextlib.aclosing(request_lines(takes)) as lines:
            found = [line async for line in lines]
    return found


@settings(max_examples=20, deadline=None)
@given(st.lists(LENGTHS, max_size=4), st.lists(st.sampled_from((700, 16_384, 100_000)), min_size=1, max_size=3))
def test_every_line_arrives_whole_and_a_long_one_in_pieces(lengths: list[int], pieces: list[int]) -> None:
    """However a client cuts what it sends; what has no end of line is no request."""
    lines = [bytes((97 + place,)) * length for place, length in enumerate(lengths)]
    found = trio.run(_taken_in, b"".join(line + b"\n" for line in lines) + b"unfinished", pieces)
    assert [line if isinstance(line, bytes) else b"".join(line.pieces) for line in found] == lines
    assert [isinstance(line, LongLine) for line in found] == [len(line) >= SHORT for line in lines]
    assert all(len(piece) <= 1 << 14 for line in found if isinstance(line, LongLine) for piece in line.pieces)


def test_a_line_longer_than_allowed_ends_the_connection() -> None:
    """What comes behind it is not read."""
    assert trio.run(_taken_in, b"{}\n" + b"x" * (LONGEST_REQUEST + 1) + b"\n{}\n", [1 << 20]) == [b"{}"]


@pytest.fixture
def bench() -> Bench:
    """A show in scene 1."""
    bench = Bench()
    bench.show.apply(RecallScene(1), "shell")
    return bench


def _restore(text: str) -> dict[str, Any]:
    return {"do": "restore", "text": text, "where": "elsewhere"}


@pytest.mark.parametrize(
    ("rig", "said"),
    [
        (f"x = 0x{'f' * 3_000_000}\n{RIG}", "a number has more than"),
        (RIG + "# a comment\n" * 300_000, None),
    ],
    ids=["a huge number", "a good rig"],
)
async def test_a_long_request_passes_through_the_engine_unread(
    bench: Bench, tmp_path: Path, rig: str, said: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bytes of a whole rig are held once, and only the worker process reads them; a rig that plays is its text,
    too."""

    def read(*_: object) -> None:
        raise AssertionError("a long request was read in the engine")

    monkeypatch.setattr(LongText, "read", read)
    request = json.dumps(_restore(rig)).encode() + b"\n"
    with worker_process() as elsewhere:
        async with serving(bench, tmp_path / "pit.toml", RIG, elsewhere=elsewhere) as path:
            stream = await trio.open_unix_socket(path)
            await ask({"do": "status"})
            with memory_taken() as taken:
                await stream.send_all(memoryview(request))
                answer = json.loads(await line_of(stream))
            await stream.aclose()
    assert answer["done"] is (said is None)
    assert said is None or said in answer["text"]
    assert taken.most < len(request) * (1.3 if said else 3.3)


async def test_what_a_long_request_lacks_is_answered_like_a_short_one(bench: Bench) -> None:
    """The worker's refusal names the field; the connection goes on."""
    long = "x" * SHORT
    async with serving(bench, text=RIG):
        assert (await ask({"do": "restore", "text": long}))["text"].startswith('restore needs "where"')
        assert (await ask({"do": "restore", "text": [long], "where": "x"}))["text"].startswith('restore: "text" must')
        assert (await ask({"do": long}))["code"] == "unknown-request"
        assert (await ask(_restore(RIG + " " * SHORT)))["done"]
        assert (await ask(_restore(RIG + " " * SHORT)))["code"] == "unchanged"
