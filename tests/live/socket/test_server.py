"""The socket of a running engine, and its client. (Our own protocol; no outside source.)"""

import contextlib
import json
import os
import socket
import stat
import threading
import time
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any, ClassVar

import pytest
import trio
import trio.testing

from engine.core.commands import FollowLeader, NextScene, RecallScene
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.process.instance_lock import NameTaken, claim_socket
from engine.live.process.worker_threads import to_its_end
from engine.live.socket import client, server
from engine.live.socket.pace import ServicePace
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.live.socket.status import status, sync
from engine.ports.memory import MemorySystem
from engine.protocol import TABLE
from tests.support.engine_socket import ask, claimed, line_of, serving
from tests.support.small_show import RIG, Bench, FaultyClock

KEYS = 0


pytestmark = pytest.mark.usefixtures("runtime_dir")


@pytest.fixture
def bench() -> Bench:
    """A show in scene 1."""
    bench = Bench()
    bench.show.apply(RecallScene(1), "shell")
    bench.heard("strings")
    bench.told()
    return bench


class CountedPace(ServicePace):
    """Lets everyone pass and counts them, by what it allows at once and per second."""

    turns: ClassVar[Counter[tuple[int, float]]] = Counter()

    def __init__(self, at_once: int, per_second: float) -> None:
        super().__init__(at_once, per_second)
        self._allows = (at_once, per_second)

    async def turn(self) -> None:
        self.turns[self._allows] += 1


async def test_long_requests_are_answered_four_at_once_and_one_per_second_after_that(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A request over 64 KB, or with a whole rig, waits for its turn among the long ones too: see test_pace.py."""
    monkeypatch.setattr(server, "ServicePace", CountedPace)
    monkeypatch.setattr(CountedPace, "turns", Counter())
    long = {"do": "restore", "text": "#" * 70_000, "where": "elsewhere"}
    async with serving(bench, text=RIG):
        for request in ({"do": "status"}, long, {"do": "status"}, {**long, "text": "a.b = 1"}):
            assert "text" in await ask(request)
    assert CountedPace.turns[4, 1.0] == 2
    assert CountedPace.turns[100, 200.0] == 4


# Opening the socket


def test_only_the_player_can_open_the_socket(runtime_dir: Path) -> None:
    """The socket is 0600 in a folder 0700, whatever the umask."""
    before = os.umask(0)
    try:
        claim = claim_socket("pit")
    finally:
        os.umask(before)
    path = claim.path
    with contextlib.closing(claim.listener), claim.lock:
        assert path == client.socket_path("pit") == runtime_dir / "bayleaf" / "pit.sock"
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_folder_that_is_open_to_others_is_closed(runtime_dir: Path) -> None:
    """An existing folder with a wider mode becomes 0700."""
    (runtime_dir / "bayleaf").mkdir(mode=0o755)
    with claimed() as claim:
        assert stat.S_IMODE(claim.path.parent.stat().st_mode) == 0o700


@pytest.mark.parametrize(
    ("mode", "refused"), [(0o700, False), (0o755, False), (0o770, True), (0o777, True), (0o1777, True)]
)
def test_a_folder_that_others_can_write_to_is_refused(runtime_dir: Path, mode: int, refused: bool) -> None:
    """Engine and clients use no XDG_RUNTIME_DIR in which somebody else could put a socket; the error has the remedy."""
    runtime_dir.chmod(mode)
    if not refused:
        with claimed():
            return
    for use in (lambda: claim_socket("pit"), lambda: client.ask("pit", {"do": "status"})):
        with pytest.raises(client.NoEngine, match="can be written to by other users; set XDG_RUNTIME_DIR to one with"):
            use()
    assert not (runtime_dir / "bayleaf").exists()


def test_a_folder_of_another_user_is_refused(runtime_dir: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor a folder that belongs to somebody else, who could answer in the engine's place."""
    ours = os.getuid()
    monkeypatch.setattr(os, "getuid", lambda: ours + 1)
    for use in (lambda: claim_socket("pit"), lambda: client.ask("pit", {"do": "status"})):
        with pytest.raises(client.NoEngine, match="belongs to another user; set XDG_RUNTIME_DIR"):
            use()


def test_a_folder_that_the_engine_makes_is_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing XDG_RUNTIME_DIR is made with mode 0700, whatever the umask: the next command would refuse it."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    before = os.umask(0)
    try:
        with claimed():
            assert stat.S_IMODE((tmp_path / "run").stat().st_mode) == 0o700
            client.socket_path("pit")
    finally:
        os.umask(before)


def test_a_folder_may_have_a_longer_name_than_an_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands arrive even if XDG_RUNTIME_DIR is longer than a socket address (107 bytes, unix(7))."""
    deep = tmp_path / ("d" * 120)
    deep.mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(deep))
    with claimed() as claim, client.address_of(client.socket_path("pit")) as address:
        assert claim.path == deep / "bayleaf" / "pit.sock"
        assert claim.path.is_socket()
        with socket.socket(socket.AF_UNIX) as asker:
            asker.connect(address)
    assert not claim.path.exists()


def test_where_it_may_not_the_remedy_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a system without /proc that is impossible; the error names the folder and the remedy."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / ("d" * 120)))
    monkeypatch.setattr(os.path, "isdir", lambda path: False)
    with pytest.raises(OSError, match="the path is too long; set XDG_RUNTIME_DIR to a shorter folder"):
        claim_socket("pit")


def test_a_socket_left_by_a_crash_is_replaced() -> None:
    """A socket on which nothing listens any more is replaced by the next engine of that name."""
    died = claim_socket("pit")
    assert not died.crashed
    died.listener.close()
    died.lock.close()  # as the system closes it when a process dies
    assert client.socket_path("pit").exists()
    with claimed() as claim, socket.socket(socket.AF_UNIX) as asker:
        assert claim.crashed
        asker.connect(str(claim.path))


def test_a_second_engine_of_one_name_is_refused() -> None:
    """A second engine with the name of a running one is refused; the first keeps its socket, other names are free."""
    with claimed() as claim:
        with pytest.raises(NameTaken, match='an engine named "pit" is running; give this one another with --name NAME'):
            claim_socket("pit")
        with claimed("rehearsal"), socket.socket(socket.AF_UNIX) as asker:
            asker.connect(str(claim.path))


def test_an_engine_that_does_not_listen_yet_has_its_name() -> None:
    """Of two engines started at the same instant over a crashed one's socket, only one gets the name."""
    died = claim_socket("pit")
    died.listener.close()
    died.lock.close()
    taken = []

    def start() -> None:
        with contextlib.suppress(NameTaken):
            taken.append(claim_socket("pit"))

    threads = [threading.Thread(target=start) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(taken) == 1
    taken[0].release()


@pytest.mark.parametrize("name", ["", "../pit", "a b", "x" * 41, "pit\n"])
def test_a_name_must_be_a_name(name: str) -> None:
    """A name that could lead out of the folder is rejected with what is allowed."""
    with pytest.raises(client.NoEngine, match="use letters, digits, hyphen and underscore, up to 40"):
        client.socket_path(name)


# Requests and answers


async def test_commands_are_carried_out_and_answered(bench: Bench) -> None:
    """scene, next, back, resend and panic act on the show, and the answer says what happened."""
    async with serving(bench):
        march = await ask({"do": "scene", "scene": "March"})
        assert (march["done"], march["scene"], march["text"]) == (True, [2, "March"], "scene 2 March")
        assert (await ask({"do": "scene", "scene": "3"}))["scene"] == [3, "Finale"]
        assert (await ask({"do": "next"}))["done"] is False
        assert (await ask({"do": "back"}))["scene"] == [2, "March"]
        overture = await ask({"do": "scene", "scene": 1})
        assert (overture["scene"], overture["burst_bytes"], overture["unchanged"]) == ([1, "Overture"], 0, 1)
        assert overture["text"] == "scene 1 Overture, nothing to send"
        assert (await ask({"do": "resend"}))["burst_bytes"] == 8
        assert (await ask({"do": "panic"}))["done"] is True
    assert bench.scenes == [1, 2, 3, 2, 1]
    assert bench.heard("strings").count("C4 0B") == 1


@pytest.mark.parametrize(
    ("request_", "code"),
    [
        ({"do": "scene", "scene": 2}, "done"),
        ({"do": "scene", "scene": "Encore"}, "unknown-scene"),
        ({"do": "back"}, "end-of-setlist"),
        ({"do": "entry", "entry": 9}, "unknown-entry"),
        ({"do": "setlist", "setlist": "Matinee"}, "unknown-setlist"),
        ({"do": "mute", "route": "pads"}, "unknown-route"),
        ({"do": "tap"}, "not-in-rig"),
        ({"do": "clock", "what": "start"}, "not-in-rig"),
        ({"do": "timecode", "what": "locate", "value": 3}, "not-in-rig"),
        ({"do": "scenes", "what": "delete", "number": 9}, "unknown-scene"),
        ({"do": "scenes", "what": "undo"}, "nothing-to-undo"),
        ({"do": "edit", "what": "join", "scene": 1, "from": "keys", "to": "brass", "revision": 1}, "outdated"),
        ({"do": "backup", "output": "harp"}, "unknown-output"),
        ({"do": "handover"}, "not-in-rig"),
        ({"do": "audition", "instrument": "harp", "sound": "soft"}, "unknown-instrument"),
        ({"do": "keep", "last_s": 5, "file": "/nowhere/at/all.mid"}, "file-failed"),
    ],
)
async def test_an_answer_has_a_code(bench: Bench, request_: dict[str, Any], code: str) -> None:
    """Each answer has a short code for the result, for programs."""
    async with serving(bench, text=RIG):
        answer = await ask(request_)
    assert (answer["code"], answer["done"]) == (code, code == "done")


async def test_each_request_has_a_handler(bench: Bench, tmp_path: Path) -> None:
    """The server handles exactly the requests in the table."""
    show = bench.show
    session = RigSession(show, tmp_path / "pit.toml", "", to_its_end)
    panel, work = PanelRequests(show, session, MemorySystem("pit")), RemoteWork(show, session)
    with claimed() as claim:
        server = SocketServer(show, session, RigSaver(session), work, panel, claim.listener)
    handled = server._handlers.keys() | server._streams.keys()
    assert handled == {row.model for row in TABLE.values()}
    assert server._streams.keys() == {row.model for row in TABLE.values() if row.cost == "connection"}


async def test_status_is_the_shows(bench: Bench) -> None:
    """status answers with the show's own status."""
    async with serving(bench):
        bench.play(KEYS, "90 3C 40")
        answer = await ask({"do": "status"})
    assert answer["done"] is True
    assert answer["status"]["scene"] == {"number": 1, "name": "Overture"}
    assert answer["status"] == json.loads(json.dumps(status(bench.show)))


@pytest.mark.parametrize("line", [b"", b"next", b"[]", b"1", b"\xff\xfe", b"[" * 60_000, b'{"do": "next"', b"9" * 5000])
async def test_what_is_no_request_is_answered_and_the_talk_goes_on(bench: Bench, line: bytes) -> None:
    """A line that is not a JSON object gets an answer that says so; nothing changes and the next line is read."""
    async with serving(bench) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(line + b"\n")
        assert json.loads(await line_of(stream)) == {
            "done": False,
            "code": "bad-request",
            "text": "a request is one JSON object on a line",
        }
        await stream.send_all(b'{"do": "next"}\n')
        assert json.loads(await line_of(stream))["scene"] == [2, "March"]
    assert (bench.scenes, bench.show.own_faults) == ([1, 2], 0)


@pytest.mark.parametrize(
    ("request_", "said"),
    [
        ({}, "unknown request None; there are: scene, next, back, first, entry, next song,"),
        ({"do": "dance"}, "unknown request 'dance'; there are: scene, next"),
        ({"do": ["next"]}, "unknown request ['next']"),
        ({"do": "scene"}, 'scene needs "scene": a scene'),
        ({"do": "scene", "scene": True}, 'scene: "scene" must be a scene'),
        ({"do": "scene", "scene": {"number": 1}}, 'scene: "scene" must be a scene'),
        ({"do": "scene", "scene": 99}, "there is no scene 99; nothing changed"),
        ({"do": "scene", "scene": "Encore"}, 'there is no scene "Encore"; nothing changed'),
        ({"do": "scene", "scene": "9" * 5000}, '"scene" must be'),
        ({"do": "scene", "scene": "\ud800"}, '"scene" must be'),
        ({"do": "backup", "output": ["strings"]}, '"output" must be the name of an output'),
        ({"do": "next", "scene": 3}, 'next takes no "scene"'),
        ({"do": "scenes", "what": "copy", "number": 1}, 'scenes copy needs "new": the number of the copy'),
    ],
)
async def test_a_request_that_cannot_be_met_is_answered(bench: Bench, request_: dict[str, Any], said: str) -> None:
    """A faulty request is answered with what is wrong and what is allowed, and changes nothing."""
    async with serving(bench):
        answer = await ask(request_)
    assert answer["done"] is False
    assert said in answer["text"]
    assert (bench.scenes, bench.show.own_faults) == ([1], 0)


async def test_who_is_there_is_answered_in_one_line(bench: Bench) -> None:
    """For pages that take a single answer; an output that cannot be asked is named."""
    bench.show.clock = time.monotonic_ns
    async with serving(bench):
        found = await ask({"do": "identify", "outputs": ["strings"], "seconds": 0.05})
        assert found["rows"] == [{"output": "strings", "input": None, "identity": None, "text": "no answer"}]
        assert "F0 7E 7F 06 01 F7" in bench.heard("strings")
        refused = await ask({"do": "identify", "outputs": ["harp"]})
        assert refused["text"].startswith('there is no output "harp"')


async def test_a_fault_of_our_own_costs_one_request(bench: Bench) -> None:
    """If a request fails, the client gets an answer, the fault is counted, and the next request works."""
    async with serving(bench):
        FaultyClock(bench.show).fail()
        assert await ask({"do": "next"}) == {
            "done": False,
            "code": "own-fault",
            "text": "a fault of Bayleaf itself: RuntimeError('a mistake')",
        }
        assert (await ask({"do": "next"}))["done"] is True
        assert (await ask({"do": "status"}))["status"]["own_faults"] == 1


async def test_several_requests_in_one_piece_and_one_in_several(bench: Bench) -> None:
    """Lines are found wherever the bytes are split."""
    async with serving(bench) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(b'{"do": "next"}\n{"do": "next"}\n{"do"')
        assert json.loads(await line_of(stream))["scene"] == [2, "March"]
        assert json.loads(await line_of(stream))["scene"] == [3, "Finale"]
        for byte in b': "back"}\n':
            await stream.send_all(bytes((byte,)))
        assert json.loads(await line_of(stream))["scene"] == [2, "March"]


async def test_a_line_without_end_is_cut_off(bench: Bench) -> None:
    """A client that sends a line longer than 8 MB is disconnected; others are answered."""
    async with serving(bench) as path:
        async with await trio.open_unix_socket(path) as stream:
            with trio.fail_after(30), contextlib.suppress(trio.BrokenResourceError):
                await stream.send_all(b"x" * 9_000_000)
            assert await line_of(stream) == b""
        assert (await ask({"do": "next"}))["done"] is True


@pytest.mark.parametrize("sent", [b"", b'{"do": "ne', b'{"do": "watch"}\n', b'{"do": "status"}\n' * 100])
async def test_an_asker_that_goes_in_the_middle_harms_nobody(bench: Bench, sent: bytes) -> None:
    """Whenever a client disconnects, the engine still answers."""
    async with serving(bench) as path:
        stream = await trio.open_unix_socket(path)
        if sent:
            await stream.send_all(sent)
        await stream.aclose()
        assert (await ask({"do": "next"}))["done"] is True
    assert bench.show.own_faults == 0


# Watching


async def test_a_watcher_is_sent_what_passes(bench: Bench) -> None:
    """After watch, events come in batches, each with time, direction, port, hexadecimal message and text."""
    async with serving(bench) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(b'{"do": "watch"}\n')
        assert json.loads(await line_of(stream)) == {"events": [], "sync": sync(bench.show), "middle_c": "C4"}
        bench.now = 5
        bench.play(KEYS, "90 3C 40")
        bench.show.apply(NextScene(), "shell")
        events: list[dict[str, Any]] = []
        while len(events) < 3:
            events += json.loads(await line_of(stream))["events"]
    assert events == [
        {"at": 0, "way": "in", "port": "keys", "message": "90 3C 40", "text": ""},
        {"at": 5, "way": "out", "port": "strings", "message": "90 3C 40", "text": ""},
        {"at": 5, "way": "told", "port": "shell", "message": None, "text": "scene 2 March"},
    ]


async def test_a_watcher_that_never_reads_is_dropped(bench: Bench, autojump_clock: trio.testing.MockClock) -> None:
    """A watcher whose socket stays full for a second is disconnected; after that it costs the show nothing."""
    async with serving(bench) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(b'{"do": "watch"}\n')
        assert json.loads(await line_of(stream))["events"] == []
        (events,) = (each for each in bench.show._watchers if each is not bench.events)
        with trio.fail_after(60):
            while any(each is events for each in bench.show._watchers):
                bench.play(KEYS, *["90 3C 40", "80 3C 40"] * 500)
                await trio.sleep(0.1)  # virtual time must pass: the watcher is dropped after a second of a full socket
        seen = len(events)
        bench.play(KEYS, "90 3C 40")
        assert len(events) == seen
        async with await trio.open_unix_socket(path) as other:
            await other.send_all(b'{"do": "next"}\n')
            assert json.loads(await line_of(other))["done"] is True


async def test_the_client_watches_until_the_engine_ends(bench: Bench) -> None:
    """The client's watch gives batches of events, and ends cleanly with the engine, mid-line or not."""

    def look() -> tuple[list[dict[str, Any]], Iterator[Any]]:
        batches = client.watch("pit")
        seen = next(batches)["events"]
        trio.from_thread.run_sync(bench.play, KEYS, "90 3C 40")
        while not seen:
            seen = next(batches)["events"]
        return seen, batches

    async with serving(bench):
        seen, batches = await trio.to_thread.run_sync(look)
    assert seen[0]["message"] == "90 3C 40"
    await trio.to_thread.run_sync(list, islice(batches, 10_000))


# The client, when things are wrong


def test_no_engine_is_said_with_what_to_do() -> None:
    """Without an engine of that name the client says so, and how to start one."""
    said = 'no engine named "pit" is running; start one with: bayleaf run RIG --name pit'
    with pytest.raises(client.NoEngine, match=said):
        client.ask("pit", {"do": "next"})
    with pytest.raises(client.NoEngine, match=said):
        next(client.watch("pit"))
    with pytest.raises(client.NoEngine, match=r"start one with: bayleaf run RIG$"):
        client.ask("bayleaf", {"do": "next"})


def test_an_engine_of_another_name_is_named() -> None:
    """Who forgot --name is given it; a socket that nothing has open is nobody's."""
    with claimed() as claim:
        address = client.socket_path("pit")
        with claim.listener, pytest.raises(client.NoEngine, match='"bayleaf" is running, but pit is; add --name pit'):
            client.ask("bayleaf", {"do": "next"})
        assert address.exists()
        with pytest.raises(client.NoEngine, match="start one with"):
            client.ask("bayleaf", {"do": "next"})


@pytest.mark.parametrize("answer", [b"", b'{"done": tr'])
async def test_an_engine_that_dies_before_it_answers_is_reported(answer: bytes) -> None:
    """An engine that disconnects without a complete answer gives a plain sentence, not a traceback."""
    with claimed() as claim:

        def die() -> None:
            with claim.listener, claim.listener.accept()[0] as asker:
                asker.recv(1)
                asker.sendall(answer)

        async with trio.open_nursery() as nursery:
            nursery.start_soon(trio.to_thread.run_sync, die)
            with pytest.raises(client.NoEngine, match='the engine named "pit" did not answer'):
                await ask({"do": "next"})


async def test_an_engine_that_dies_in_mid_event_ends_the_watch() -> None:
    """If the engine dies in the middle of a line, the watcher gets the complete lines before it, then the end."""
    with claimed() as claim:

        def die() -> None:
            with claim.listener, claim.listener.accept()[0] as asker:
                asker.recv(1000)
                asker.sendall(b'{"events": []}\n{"events": [{"at"')

        async with trio.open_nursery() as nursery:
            nursery.start_soon(trio.to_thread.run_sync, die)
            assert await trio.to_thread.run_sync(list, client.watch("pit")) == [{"events": []}]


async def test_keep_writes_what_was_played(bench: Bench, tmp_path: Path) -> None:
    """keep writes the last minutes to a file and reports it as the shell does; an existing file is not overwritten."""
    file = tmp_path / "evening.jsonl"
    bench.play(KEYS, "90 3C 40", "80 3C 40")
    async with serving(bench):
        answer = await ask({"do": "keep", "last_s": 300, "file": str(file)})
        assert answer["done"], answer["text"]
        kept = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
        again = await ask({"do": "keep", "last_s": 300, "file": str(file)})
        assert not again["done"]
        assert (await ask({"do": "status"}))["done"]
    assert str(file) in answer["text"]
    assert {"90 3C 40", "80 3C 40"} <= {line.get("message") for line in kept}


async def test_a_page_keeps_in_the_home_folder(bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new file there, and nowhere else."""
    monkeypatch.setenv("HOME", str(tmp_path))
    async with serving(bench):
        asked = {"do": "keep", "what": "home", "last_s": 300}
        assert (await ask({**asked, "file": "mishap.mid"}))["done"]
        for name in ("mishap.mid", "../mishap.mid", str(tmp_path / "other.mid"), "notes.txt", ".mid"):
            assert not (await ask({**asked, "file": name}))["done"], name
    assert [name for name in os.listdir(tmp_path) if name.endswith(".mid")] == ["mishap.mid"]


@pytest.mark.parametrize(
    ("request_", "said"),
    [
        ({}, 'keep needs "last_s": a number of seconds above 0'),
        ({"last_s": 0, "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": -1, "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": True, "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": "5m", "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": float("nan"), "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": float("inf"), "file": "/a.mid"}, '"last_s" must be a number of seconds above 0'),
        ({"last_s": 5}, 'keep needs "file": an absolute path'),
        ({"last_s": 5, "file": 5}, '"file" must be an absolute path'),
        ({"last_s": 5, "file": "a.mid"}, '"file" must be an absolute path'),
        ({"last_s": 5, "file": "/nowhere/at/all.mid"}, "/nowhere/at"),
        ({"last_s": 5, "file": "/nowhere/at/all.txt"}, ".mid"),
        ({"last_s": 5, "file": "/nowhere/\0.mid"}, ""),
    ],
)
async def test_a_recording_that_cannot_be_kept_is_answered(bench: Bench, request_: dict[str, Any], said: str) -> None:
    """A keep without a time, a full path, a folder or a name is answered with what it needs; the connection stays."""
    async with serving(bench):
        answer = await ask({"do": "keep", **request_})
        assert not answer["done"]
        assert said in answer["text"]
        assert (await ask({"do": "status"}))["done"]


@pytest.mark.parametrize(
    "request_",
    [
        {"do": "test note", "instrument": "string-machine"},
        {"do": "audition", "instrument": "string-machine", "sound": "Tremolo"},
        {"do": "identify"},
        {"do": "sysex", "what": "send", "output": "strings", "messages": ["F07D01F7"]},
    ],
)
async def test_what_would_be_heard_is_for_the_one_in_charge(bench: Bench, request_: dict[str, Any]) -> None:
    """An engine that follows sends nothing of its own; its answers name the leader to ask."""
    async with serving(bench):
        bench.show.apply(FollowLeader("desk"))
        assert await ask(request_) == {"done": False, "code": "not-leader", "text": "desk is in charge; ask there"}
        assert not (await ask({"do": "next"}))["done"]
        assert (await ask({"do": "handover"}))[
            "text"
        ] == "this rig has no [network], so there is no machine to hand over to"
    assert bench.heard("strings") == []


async def test_a_fault_in_a_connection_costs_that_connection(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever fails while a client is served, the others are still answered, and the fault is counted."""

    def broken(_: object) -> None:
        raise IndexError

    async with serving(bench):
        with monkeypatch.context() as patch:
            patch.setattr(server, "read_line", broken)
            with pytest.raises(client.NoEngine):
                await ask({"do": "next"})
        assert (await ask({"do": "status"}))["status"]["own_faults"] == 1
