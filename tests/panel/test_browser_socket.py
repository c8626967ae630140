"""The live socket: who may ask what, what comes of it, and that one browser cannot hold up another."""

import json
from contextlib import AsyncExitStack, suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import trio
import trio.testing
from wsproto.events import BytesMessage, TextMessage

from engine.live.socket.client import socket_path
from engine.panel.browser_socket import LONGEST
from engine.panel.paired_browsers import ROLES
from tests.support.panel_ends import FIRST_FRAME, NAME, Engine, panel, texts

HOSTILE = [
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(1)</script>",
    '"}, "role": "operate", {"',
    "\u2028\u2029\x00\x1b]0;x\x07",
    "\u202egnp.exe",
    "${7*7} {{7*7}} %s",
]
LOOKS: tuple[dict[str, str], ...] = tuple({"do": do} for do in ("rig", "filters", "status", "explain", "differences"))
DEEDS: tuple[dict[str, str], ...] = (
    *({"do": do} for do in ("scene", "next", "back", "first", "entry", "setlist", "panic", "resend", "tap", "clock")),
    *({"do": do} for do in ("timecode", "mute", "unmute", "save", "test note", "identify")),
    {"do": "edit", "what": "chain"},
    {"do": "scenes", "what": "list"},
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))


async def test_the_role_comes_first_and_then_all_that_holds(tmp_path: Path) -> None:
    """The first message is the role, the second a whole frame; a later browser gets a whole frame as well."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as first:
        assert await first.hear() == {"role": "operate"}
        assert await first.hear() == {"frame": FIRST_FRAME}
        await engine.tell(at=2, scene={"number": 12, "name": "Finale"})
        assert await first.hear() == {"frame": {"at": 2, "scene": {"number": 12, "name": "Finale"}}}
        async with ends.live() as second:
            assert await second.hear() == {"role": "operate"}
            whole = {key: value for key, value in FIRST_FRAME.items() if key != "activity"}
            assert await second.hear() == {"frame": {**whole, "at": 2, "scene": {"number": 12, "name": "Finale"}}}
        assert len(engine.followers) == 1


async def test_requests_reach_the_engine_and_answers_come_back(tmp_path: Path) -> None:
    """A request is passed on whole, and the answer carries its number; a browser on this machine may ask everything."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        for number, request in enumerate((*LOOKS, *DEEDS)):
            asked = {**request, "scene": 3, "extra": [1, {"a": None}]}
            answer = await live.ask(number, **asked)
            assert answer == {"done": True, "text": f"done: {request['do']}", "asked": asked}


@pytest.mark.parametrize("do", ["keep", "follow", "watch", "restore", "learn", "sysex", "", "SCENE", None, 3, ["next"]])
async def test_nothing_else_reaches_the_engine(tmp_path: Path, do: object) -> None:
    """A request that would write files of the caller's choice, take over the connection, or is unknown is rejected."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        answer = await live.ask(do=do)
        assert not answer["done"]
        assert answer["code"] in ("not-allowed", "unknown-request", "bad-request")
        assert [asked["do"] for asked in engine.asked if asked["do"] != "follow"] == []


async def test_view_looks_and_does_not_operate(tmp_path: Path) -> None:
    """A browser paired to view may ask what exists; every command is rejected and does not reach the engine."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path, from_phone=True) as ends:
        async with ends.live(await ends.paired("view")) as live:
            assert await live.hear() == {"role": "view"}
            for number, request in enumerate(DEEDS):
                answer = await live.ask(number, **request)
                assert (answer["done"], answer["code"]) == (False, "not-allowed")
                assert "may look but not operate" in answer["text"]
            for number, request in enumerate(LOOKS, 100):
                assert (await live.ask(number, **request))["done"]
        async with ends.live(await ends.paired("operate")) as live:
            assert await live.hear() == {"role": "operate"}
            assert (await live.ask(do="next"))["done"]
    assert [
        asked["do"] for asked in engine.asked if asked != {"do": "follow", "events": False} and asked not in LOOKS
    ] == ["next"]


@pytest.mark.parametrize("name", HOSTILE)
async def test_hostile_names_stay_text(tmp_path: Path, name: str) -> None:
    """A name that looks like markup, code or JSON comes out as the same text, in frames, answers and requests."""
    engine = Engine()
    engine.first = {"at": 1, "scene": {"number": 1, "name": name}, "health": [name]}
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        assert await live.hear() == {"role": "operate"}
        assert await live.hear() == {"frame": engine.first}
        answer = await live.ask(do="setlist", setlist=name)
        assert list(texts(answer)).count(name) == 1
        assert answer["asked"] == {"do": "setlist", "setlist": name}


async def test_messages_come_only_to_those_who_asked(tmp_path: Path) -> None:
    """The engine is asked for messages as long as any browser asks for them, and only that browser gets them."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as one, ends.live() as other:
        await one.until(lambda message: "frame" in message)
        await other.until(lambda message: "frame" in message)
        await one.say(events=True)
        await engine.until(lambda: {"events": True} in engine.asked)
        await engine.tell(at=2, events=[{"words": "note on"}], left_out=0)
        assert (await one.until(lambda message: message["frame"]["at"] == 2))["frame"]["events"] == [
            {"words": "note on"}
        ]
        assert (await other.until(lambda message: message["frame"]["at"] == 2))["frame"] == {"at": 2}
        await one.say(events=False)
        await engine.until(lambda: {"events": False} in engine.asked)


async def test_a_tab_that_rests_asks_nothing(tmp_path: Path) -> None:
    """When no browser is watching, the engine is not followed; one that watches again gets a whole frame at once."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        await live.until(lambda message: "frame" in message)
        await engine.followed()
        await live.say(rest=True)
        await engine.followed(0)
        assert (await live.ask(do="panic"))["done"]
        await live.say(rest=False)
        await engine.followed()
        assert await live.hear() == {"frame": FIRST_FRAME}


async def test_the_engine_is_not_followed_when_all_have_gone(tmp_path: Path) -> None:
    """When the last browser closes, the engine is no longer followed."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends:
        async with ends.live() as live:
            await live.until(lambda message: "frame" in message)
            await engine.followed()
        await engine.followed(0)


@pytest.mark.slow
async def test_gone_and_back(tmp_path: Path) -> None:
    """A browser is informed if there is no engine, at the start or when it ends; then come "back" and a whole frame."""
    async with panel(tmp_path) as ends, ends.live() as live:
        assert await live.hear() == {"role": "operate"}
        for _ in range(2):
            assert NAME in (await live.hear())["gone"]
            answer = await live.ask(do="next")
            assert not answer["done"]
            assert NAME in answer["text"]
            engine = Engine()
            async with engine.playing():
                assert await live.hear() == {"back": True}
                assert await live.hear() == {"frame": FIRST_FRAME}
                assert (await live.ask(do="next"))["done"]


async def test_what_is_not_an_engine_is_reported_as_gone(tmp_path: Path) -> None:
    """A program that listens in the engine's place and sends nonsense does not end the panel."""

    async def nonsense(stream: trio.SocketStream) -> None:
        async with stream:
            await stream.send_all(b"hello\n")
            await stream.receive_some()

    path = socket_path(NAME)
    path.parent.mkdir(parents=True)
    listening = trio.socket.socket(trio.socket.AF_UNIX, trio.socket.SOCK_STREAM)
    await listening.bind(str(path))
    listening.listen(4)
    async with trio.open_nursery() as nursery:
        nursery.start_soon(trio.serve_listeners, nonsense, [trio.SocketListener(listening)])
        async with panel(tmp_path) as ends, ends.live() as live:
            assert await live.hear() == {"role": "operate"}
            assert "is not an engine" in (await live.hear())["gone"]
        nursery.cancel_scope.cancel()


async def test_panic_waits_for_nothing(tmp_path: Path) -> None:
    """While the engine is busy with slow requests, the show's commands and panic are still answered."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        await live.say(id=1, ask={"do": "ports"})
        await engine.until(lambda: {"do": "ports"} in engine.asked)
        assert (await live.ask(2, do="panic"))["done"]
        assert (await live.ask(3, do="next"))["done"]
        engine.slow.set()
        assert (await live.until(lambda message: message.get("id") == 1))["answer"]["done"]


def _answers(number: int, message: dict[str, Any]) -> bool:
    return message.get("id") == number


async def test_commands_stay_in_order(tmp_path: Path) -> None:
    """Ten commands in a row reach the engine in the order they were pressed."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        for number in range(10):
            await live.say(id=number, ask={"do": "scene", "scene": number})
        for number in range(10):
            await live.until(partial(_answers, number))
    assert [asked["scene"] for asked in engine.asked if asked["do"] == "scene"] == list(range(10))


async def test_quick_edits_wait_for_their_pace(tmp_path: Path) -> None:
    """Of sixty edits that follow each other at once, more than the pace allows, none is refused or lost."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        for number in range(60):
            assert (await live.ask(number, do="edit", what="undo"))["done"], number
    assert sum(asked["do"] == "edit" for asked in engine.asked) == 60


async def test_a_flood_of_requests_is_refused(tmp_path: Path) -> None:
    """Of 500 requests at once some dozens reach the engine; the rest are rejected, and panic still passes."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live, trio.open_nursery() as nursery:

        async def flood() -> None:
            for number in range(500):
                await live.say(id=number, ask={"do": "save", "what": "history"})
            await live.say(id=500, ask={"do": "panic"})

        nursery.start_soon(flood)
        answered: dict[int, dict[str, Any]] = {}
        while len(answered) < 501:
            message = await live.until(lambda message: "id" in message)
            answered[message["id"]] = message["answer"]
    refused = [answer for answer in answered.values() if not answer["done"]]
    assert len(refused) > 100
    assert answered[500]["done"]
    assert sum(asked["do"] == "save" for asked in engine.asked) == 500 - len(refused)


async def test_browsers_of_one_panel_share_its_answers(tmp_path: Path) -> None:
    """Two browsers that have the same frame and ask for the rig cause one request to the engine."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as one, ends.live() as other:
        for live in (one, other):
            await live.until(lambda message: "frame" in message)
            for number in range(3):
                assert (await live.ask(number, do="rig"))["asked"] == {"do": "rig"}
    assert [asked for asked in engine.asked if asked["do"] == "rig"] == [{"do": "rig"}]


async def test_a_browser_that_changes_its_mind_costs_the_engine_little(tmp_path: Path) -> None:
    """A browser that asks for messages and ends that a thousand times, or rests and wakes, causes a few lines."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        await live.until(lambda message: "frame" in message)
        async with trio.open_nursery() as nursery:

            async def read() -> None:
                while isinstance(await live.hear(), dict):
                    pass

            nursery.start_soon(read)
            began = trio.current_time()
            for _ in range(500):
                await live.say(events=True)
                await live.say(events=False)
            for _ in range(500):
                await live.say(rest=True)
                await live.say(rest=False)
            await live.say(events=True)
            await engine.until(lambda: engine.asked[-1].get("events") is True)
            took = trio.current_time() - began
            nursery.cancel_scope.cancel()
    assert len(engine.asked) <= 4 + 2 * took / 0.2


@pytest.mark.parametrize(
    "said",
    [
        "",
        "hello",
        "[]",
        "3",
        "null",
        "{}",
        '{"id": 1}',
        '{"events": 1}',
        '{"rest": "yes"}',
        '{"id": true, "ask": {}}',
        '{"id": 1e400, "ask": {}}',
        '{"id": 1, "ask": []}',
        '{"id": "x", "ask": {"do": "next"}}',
        "[" * 100_000,
    ],
)
async def test_what_is_not_ours_ends_the_socket(tmp_path: Path, said: str) -> None:
    """A text that is not one of our messages closes the socket with 1003; others go on (RFC 6455 section 7.4.1)."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as other, ends.live() as live:
        await live.until(lambda message: "frame" in message)
        await live.raw(TextMessage(said))
        assert await live.hear() == 1003
        assert (await other.ask(do="next"))["done"]


async def test_bytes_end_the_socket(tmp_path: Path) -> None:
    """A binary message closes the socket with 1003 (RFC 6455 section 7.4.1)."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        await live.until(lambda message: "frame" in message)
        await live.raw(BytesMessage(b'{"events": true}'))
        assert await live.hear() == 1003


@pytest.mark.parametrize("pieces", [1, 8])
async def test_oversize_messages_end_the_socket(tmp_path: Path, pieces: int) -> None:
    """A message over the size limit, whole or in fragments, closes the socket with 1009 (RFC 6455 section 7.4.1)."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as live:
        await live.until(lambda message: "frame" in message)
        text = json.dumps({"id": 1, "ask": {"do": "edit", "burst": "x" * LONGEST}})
        size = -(-len(text) // pieces)
        for start in range(0, len(text), size):
            last = start + size >= len(text)
            await live.raw(TextMessage(text[start : start + size], message_finished=last))
        assert await live.hear() == 1009
        assert all(asked["do"] == "follow" for asked in engine.asked)


async def test_one_guest_cannot_take_all_sockets(tmp_path: Path) -> None:
    """A pairing has four live sockets; the fifth is closed with 1013, and other browsers are let in."""
    async with panel(tmp_path, from_phone=True) as ends, AsyncExitStack() as opened:
        guest = await ends.paired("view")
        for _ in range(4):
            live = await opened.enter_async_context(ends.live(guest))
            assert await live.hear() == {"role": "view"}
        for _ in range(28):
            async with ends.live(guest) as live:
                assert await live.hear() == 1013
        for role in ROLES:
            async with ends.live(await ends.paired(role)) as live:
                assert await live.hear() == {"role": role}


async def test_too_many_sockets_are_refused(tmp_path: Path) -> None:
    """Thirty-two browsers may watch; one more is closed with 1013, and let in when another has gone."""
    async with panel(tmp_path) as ends, trio.open_nursery() as nursery:
        gone = trio.Event()

        async def look(task_status: trio.TaskStatus[None]) -> None:
            async with ends.live() as live:
                assert await live.hear() == {"role": "operate"}
                task_status.started()
                await gone.wait()

        for _ in range(32):
            await nursery.start(look)
        async with ends.live() as late:
            assert await late.hear() == 1013
        gone.set()
        with trio.fail_after(30):
            first: object = 1013
            while first == 1013:
                async with ends.live() as late:
                    first = await late.hear()
        assert first == {"role": "operate"}


async def test_a_byte_after_the_upgrade_hurts_nobody_else(tmp_path: Path) -> None:
    """A byte that follows the upgrade request at once breaks at most that connection; other browsers go on."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as other:
        for _ in range(3):
            async with await ends.stream() as stream:
                await ends.upgrade(stream, ends.usual(), after=b"x")
            assert (await other.ask(do="next"))["done"]
        assert (await ends.http("GET", "/page/pair.css")).status == 200


async def test_noise_instead_of_http_hurts_nobody_else(tmp_path: Path) -> None:
    """Bytes that are not a request end their connection; the panel still answers others."""
    async with panel(tmp_path) as ends:
        for noise in (
            b"\x00" * 100,
            b"GET",
            b"\x16\x03\x01\x02\x00",
            b"GET / HTTP/1.1\r\n" * 2000,
            b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        ):
            async with await ends.stream() as stream:
                await stream.send_all(noise)
        assert (await ends.http("GET", "/page/pair.css")).status == 200


@pytest.mark.slow
async def test_long_answers_wait_in_the_engine(tmp_path: Path) -> None:
    """The second long answer for a slow browser is asked for when it has taken the first; its commands pass at once."""
    engine = Engine()
    engine.rig = "x" * (8 << 20)  # more than the buffers of a connection hold
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as slow:
        for number in range(3):
            await slow.say(id=number, ask={"do": "rig"})
        await engine.until(lambda: {"do": "rig"} in engine.asked)
        for number in range(3, 13):
            await slow.say(id=number, ask={"do": "next"})
        await engine.until(lambda: engine.asked.count({"do": "next"}) == 10)
        assert engine.asked.count({"do": "rig"}) == 1
        answered = [(await slow.until(lambda message: "id" in message))["id"] for _ in range(13)]
        assert sorted(answered) == list(range(13))


async def test_a_browser_with_a_thousand_waiting_answers_is_disconnected(tmp_path: Path) -> None:
    """A browser that asks and asks while it takes no answer is closed with 1008; what waited for it is dropped."""
    engine = Engine()
    engine.rig = "x" * (8 << 20)
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as flood, ends.live() as other:
        await flood.say(id=0, ask={"do": "rig"})
        await engine.until(lambda: {"do": "rig"} in engine.asked)
        await trio.testing.wait_all_tasks_blocked()
        with suppress(trio.BrokenResourceError):  # it may be closed before the last one is said
            for number in range(1, 1500):
                await flood.say(id=number, ask={"do": "nonsense"})
        heard: Any = {}
        while isinstance(heard, dict):
            heard = await flood.hear()
        assert heard in (1006, 1008)
        assert (await other.ask(do="next"))["done"]


@pytest.mark.slow
async def test_a_browser_that_does_not_read_is_dropped(tmp_path: Path) -> None:
    """A browser that reads nothing is cut off within seconds; one that reads keeps getting frames, and none is
    queued."""
    engine = Engine()
    padding = "x" * 100_000
    async with engine.playing(), panel(tmp_path) as ends, ends.live() as reader, ends.live() as lazy:
        await reader.until(lambda message: "frame" in message)
        await lazy.until(lambda message: "frame" in message)
        at = 1
        with trio.fail_after(60):
            while True:
                at += 1
                await engine.tell(at=at, health=[padding])
                assert (await reader.hear())["frame"]["at"] == at
                try:  # a broken connection accepts no more of our data
                    await lazy.say(rest=False)
                except trio.BrokenResourceError:
                    break
                await trio.sleep(0.01)  # as a player presses, repeatedly
        assert (await reader.ask(do="next"))["done"]
