"""What a follower of the engine receives. (Our own protocol; no outside source.)"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import trio
import trio.testing

from engine.core.commands import NextScene, RecallScene
from engine.core.compiled import compile_rig
from engine.live.cable_load import CableLoad
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import to_its_end
from engine.live.socket.status_stream import StatusFrames
from engine.rig.read.load import read
from tests.support.engine_socket import ask, line_of, serving
from tests.support.small_show import MS, RIG, Bench
from tests.support.waiting import eventually

KEYS, PEDALS = 0, 1
TEXT = f"""{RIG}
[[setlists]]
name = "Friday"
scenes = [1, "Finale"]
"""


class Follower:
    """A show in scene 1, and the frames of one follower; time is the test's."""

    def __init__(self, folder: Path, events: bool = False) -> None:
        self.bench = Bench(TEXT)
        self.show = self.bench.show
        self.show.apply(RecallScene(1), "shell")
        self.gauge = CableLoad(self.show)
        self.file = folder / "pit.toml"
        self.file.write_text(TEXT, encoding="utf-8")
        self.session = RigSession(self.show, self.file, TEXT, to_its_end)
        self.frames = StatusFrames(self.show, self.session, self.gauge, events)

    def frame(self) -> dict[str, Any]:
        """The next frame, as the other end reads it; empty if there is nothing to send."""
        texts = json.loads(json.dumps(self.frames.take(self.bench.now / 1e9)))
        frame: dict[str, Any] = texts[0]["frame"] if texts else {}
        return frame


@pytest.fixture
def follower(tmp_path: Path) -> Follower:
    """Before the first frame."""
    return Follower(tmp_path)


def test_the_first_frame_has_everything(follower: Follower) -> None:
    """It has every key, even where the value is the usual one."""
    assert follower.frame() == {
        "at": 0,
        "revision": follower.show.revision,
        "unsaved": False,
        "file": str(follower.file),
        "draft": False,
        "undo": None,
        "redo": None,
        "inputs": ["keys", "pedals"],
        "outputs": ["strings", "brass"],
        "scene": {"number": 1, "name": "Overture"},
        "next": {"number": 3, "name": "Finale"},
        "loaded": False,
        "song": None,
        "step": 0,
        "setlist": {"name": "Friday", "place": 1, "of": 2},
        "players": {},
        "tempo": None,
        "clock_from": None,
        "clocks_skipped": 0,
        "timecode": None,
        "timecode_runs": False,
        "timecode_from": None,
        "activity": {"in": [0, 0], "out": [0, 0]},
        "load": [None, None],
        "peak": [None, None],
        "health": [],
        "muted_routes": [],
        "channels": {},
        "told": [],
    }


def test_nothing_new_is_not_reported(follower: Follower) -> None:
    """While nothing happens, one frame per second is sent, with only the time."""
    follower.frame()
    follower.bench.now += 999 * MS
    assert follower.frame() == {}
    follower.bench.now += 1 * MS
    assert follower.frame() == {"at": 1000 * MS}
    assert follower.frame() == {}


def test_a_change_is_reported_once(follower: Follower) -> None:
    """A scene change sends what changed and who asked, and nothing else."""
    follower.frame()
    follower.show.apply(NextScene(), "shell")
    assert follower.frame() == {
        "at": 0,
        "scene": {"number": 3, "name": "Finale"},
        "next": None,
        "setlist": {"name": "Friday", "place": 2, "of": 2},
        "told": [{"at": 0, "who": "shell", "text": "scene 3 Finale"}],
    }
    assert follower.frame() == {}


def test_messages_are_counted(follower: Follower) -> None:
    """Each frame counts the messages at each port since the last one; then comes one frame of zeros."""
    follower.frame()
    follower.bench.play(KEYS, "90 3C 40", "80 3C 40")
    follower.bench.play(PEDALS, "B0 40 7F")
    assert follower.frame() == {"at": 0, "activity": {"in": [2, 1], "out": [2, 0]}}
    follower.bench.play(KEYS, "90 3C 40", "80 3C 40")
    follower.bench.play(PEDALS, "B0 40 7F")
    assert follower.frame() == {"at": 0, "activity": {"in": [2, 1], "out": [2, 0]}}
    assert follower.frame() == {"at": 0, "activity": {"in": [0, 0], "out": [0, 0]}}
    assert follower.frame() == {}


def test_what_is_wrong_is_reported_with_the_next_look(follower: Follower) -> None:
    """Health is updated together with the cable load."""
    follower.frame()
    follower.bench.outputs["brass"].unplug("the box is off")
    follower.show.check_outputs()
    follower.gauge.look()
    frame = follower.frame()
    assert frame["health"] == ["output brass is missing: the box is off"]
    assert frame["told"] == [{"at": 0, "who": "brass", "text": "the box is off"}]


def test_clock_and_time_code(follower: Follower) -> None:
    """The tempo of the incoming clock and its input, and the time code that runs."""
    follower.frame()
    for _ in range(50):
        follower.bench.now += 20 * MS
        follower.bench.play(KEYS, "F8")
    frame = follower.frame()
    assert (frame["tempo"], frame["clock_from"]) == (125.0, "keys")  # 24 clocks per quarter note, MIDI 1.0 p. 30
    for piece in range(16):
        follower.bench.now += 10 * MS
        follower.bench.play(PEDALS, f"F1 {piece % 8:X}{2 if piece % 8 == 7 else 0}")
    frame = follower.frame()
    assert (frame["timecode_runs"], frame["timecode_from"]) == (True, "pedals")
    assert frame["timecode"].startswith("00:00:00")


async def test_edits_and_saving(follower: Follower) -> None:
    """Each adopted rig has a higher number; edits that are not in the file are unsaved."""
    first = follower.frame()["revision"]
    text = TEXT.replace('name = "March"', 'name = "Waltz"')
    await follower.session.edit(lambda: (lambda _, folder: text, "done"))
    frame = follower.frame()
    assert (frame["revision"], frame["unsaved"]) == (first + 1, True)
    await RigSaver(follower.session).save()
    assert follower.frame() == {"at": 0, "unsaved": False}


def test_ports_keep_their_places(follower: Follower) -> None:
    """An input added by an edit comes after the others, wherever the file has it, and counts from zero."""
    follower.frame()
    edited = TEXT.replace('keys = { port = "Stage piano" }', 'organ = { port = "c" }\nkeys = { port = "Stage piano" }')
    follower.show.adopt(compile_rig(read(edited, "test"), after=follower.show.engine.state.compiled), edited)
    follower.bench.play(KEYS, "90 3C 40")
    frame = follower.frame()
    assert frame["inputs"] == ["keys", "pedals", "organ"]
    assert frame["activity"]["in"] == [1, 0, 0]


def test_without_a_set_list() -> None:
    """The scenes keep their own order, and the list has no name."""
    bench = Bench()
    frames = StatusFrames(
        bench.show, RigSession(bench.show, Path("pit.toml"), "", to_its_end), CableLoad(bench.show), False
    )
    frame = frames.take(0)[0]["frame"]
    assert frame["scene"] is None
    assert frame["setlist"] == {"name": None, "place": 0, "of": 3}
    assert frame["next"] == {"number": 1, "name": "Overture"}


# The messages that pass


def test_what_passes_in_words(tmp_path: Path) -> None:
    """On request, each message comes with its time, direction, port, bytes and text."""
    follower = Follower(tmp_path, events=True)
    first = follower.frame()
    assert (first["events"], first["left_out"]) == ([], 0)
    follower.bench.now = 7
    follower.bench.play(KEYS, "90 3C 40")
    words = "channel 1 note on C4 velocity 64"
    frame = follower.frame()
    assert frame["events"] == [
        {"at": 0, "way": "in", "port": "keys", "message": "90 3C 40", "words": words},
        {"at": 7, "way": "out", "port": "strings", "message": "90 3C 40", "words": words},
    ]
    assert frame["left_out"] == 0
    assert follower.frame()["events"] == []
    assert follower.frame() == {}


def test_the_frame_of_a_second_says_that_messages_are_watched(tmp_path: Path) -> None:
    """It has an empty list of messages when none has passed, which a browser that has just asked for them waits for."""
    follower = Follower(tmp_path, events=True)
    for _ in range(2):
        follower.frame()
    follower.bench.now = 1_000_000_000
    assert follower.frame() == {"at": 1_000_000_000, "events": []}


def test_a_parameter_that_passes_is_one_event(tmp_path: Path) -> None:
    """Of a parameter the last message is sent, with the whole in words (MIDI 1.0 p. 17). After messages were left out,
    it is not known which one is selected."""
    follower = Follower(tmp_path, events=True)
    follower.frame()
    follower.bench.play(KEYS, "B0 63 01", "B0 62 08", "B0 06 40")
    came = [event for event in follower.frame()["events"] if event["way"] == "in"]
    assert [(event["message"], event["words"]) for event in came] == [("B0 06 40", "channel 1 NRPN 1/8 = 64")]
    follower.bench.play(KEYS, *(f"B0 07 {value:02X}" for value in range(100)))
    follower.bench.play(KEYS, "B0 06 41")
    assert follower.frame()["events"][-1]["words"] == "channel 1 data entry MSB 65"


def test_only_the_newest_are_sent(tmp_path: Path) -> None:
    """Of more than forty messages, the newest forty are sent, with the number left out."""
    follower = Follower(tmp_path, events=True)
    follower.frame()
    follower.bench.play(KEYS, *(f"B0 07 {value:02X}" for value in range(100)))
    frame = follower.frame()
    assert len(frame["events"]) == 40
    assert frame["left_out"] == 160
    assert frame["events"][-1]["message"] == "B0 07 63"


def test_a_long_dump_is_cut_short(tmp_path: Path) -> None:
    """Of a SysEx the first 64 bytes are shown, and a sign that more follow."""
    follower = Follower(tmp_path, events=True)
    follower.bench.play(KEYS, "F0 7D " + "00 " * 5000 + "F7")
    event = follower.frame()["events"][0]
    assert event["message"] == "F0 7D " + "00 " * 62 + "…"
    assert event["words"].startswith("SysEx 5003 bytes: F0 7D")


def test_messages_are_kept_only_while_they_are_wanted(follower: Follower) -> None:
    """Messages are kept from {"events": true} until false, and not otherwise."""
    watchers = follower.show._watchers
    before = len(watchers)
    follower.frames.heed(b'{"events": true}')
    follower.frames.heed(b'{"events": true}')
    assert len(follower.show._watchers) == before + 1
    follower.frame()
    follower.bench.play(KEYS, "90 3C 40")
    assert len(follower.frame()["events"]) == 2
    follower.frames.heed(b'{"events": false}')
    assert len(follower.show._watchers) == before
    follower.bench.play(KEYS, "80 3C 40")
    assert "events" not in follower.frame()


def test_who_stops_following_costs_nothing(tmp_path: Path) -> None:
    """Nothing is kept for a follower that has gone."""
    follower = Follower(tmp_path, events=True)
    before = len(follower.show._watchers), len(follower.show._listeners)
    follower.frames.close()
    assert (len(follower.show._watchers), len(follower.show._listeners)) == (before[0] - 1, before[1] - 1)


@pytest.mark.parametrize(
    "line",
    [b"", b"[]", b"{", b'{"do": "next"}', b'{"events": 1}', b"\xff", b"[" * 150, b" " * 200 + b'{"events": true}'],
)
def test_anything_else_is_to_be_asked_elsewhere(follower: Follower, line: bytes) -> None:
    """A follower that sends another request is answered so, and still follows."""
    follower.frames.heed(line)
    answer, frame = follower.frames.take(0)
    assert answer["done"] is False
    assert answer["text"].startswith("this connection follows and takes")
    assert frame["frame"]["scene"] == {"number": 1, "name": "Overture"}


def test_a_fault_in_a_frame_costs_that_frame(follower: Follower, monkeypatch: pytest.MonkeyPatch) -> None:
    """The fault is counted and reported, and the next frame is sent."""

    def fail() -> None:
        raise RuntimeError("a mistake")

    with monkeypatch.context() as patch:
        patch.setattr(follower.frames, "_lasting", fail)
        assert follower.frame() == {}
    assert follower.show.own_faults == 1
    assert "a fault of Bayleaf itself" in follower.frame()["told"][0]["text"]


# On the socket


async def frame_with(stream: trio.SocketStream, condition: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    """The next frame that meets this condition."""
    while True:
        frame: dict[str, Any] = json.loads(await line_of(stream)).get("frame", {})
        if condition(frame):
            return frame


@pytest.mark.usefixtures("runtime_dir")
async def test_following_on_the_socket() -> None:
    """follow sends frames until the client closes; it can request messages meanwhile, and others are answered."""
    bench = Bench()
    bench.show.apply(RecallScene(1), "shell")
    async with serving(bench) as path:
        async with await trio.open_unix_socket(path) as stream:
            await stream.send_all(b'{"do": "follow"}\n')
            first = json.loads(await line_of(stream))["frame"]
            assert first["scene"] == {"number": 1, "name": "Overture"}
            assert "events" not in first
            assert (await ask({"do": "next"}))["done"]
            assert (await frame_with(stream, lambda frame: "scene" in frame))["scene"]["number"] == 2
            await stream.send_all(b'{"events": true}\n')
            await frame_with(stream, lambda frame: "events" in frame)
            bench.play(KEYS, "90 3C 40")
            events = (await frame_with(stream, lambda frame: frame.get("events")))["events"]
            assert [event["port"] for event in events] == ["keys", "strings", "brass"]
            await stream.send_all(b"what else?\n")
            while "frame" in (told := json.loads(await line_of(stream))):
                pass
            assert told["done"] is False
        await eventually(lambda: len(bench.show._listeners) == 1)
    assert bench.show.own_faults == 0


@pytest.mark.usefixtures("runtime_dir")
async def test_a_follower_that_never_reads_is_dropped(autojump_clock: trio.testing.MockClock) -> None:
    """A follower whose socket stays full for a second is disconnected, and nothing is kept for it."""
    bench = Bench()
    async with serving(bench) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(b'{"do": "follow", "events": true}\n')
        assert "frame" in json.loads(await line_of(stream))
        with trio.fail_after(600):
            while True:
                bench.play(KEYS, *["B0 07 40", "B0 07 41"] * 50)
                await trio.sleep(0.05)  # virtual time must pass: it is dropped after a second of a full socket
                if len(bench.show._watchers) == 1:
                    break
        assert len(bench.show._listeners) == 1


@pytest.mark.usefixtures("runtime_dir")
@pytest.mark.parametrize("sent", [b'{"do": "follow"}\n', b'{"do": "follow"}\n{"events"', b'{"do": "follow"}\nx\n' * 9])
async def test_a_follower_that_goes_in_the_middle_harms_nobody(sent: bytes) -> None:
    """Whenever a follower disconnects, the engine still answers and keeps nothing for it."""
    bench = Bench()
    async with serving(bench) as path:
        stream = await trio.open_unix_socket(path)
        await stream.send_all(sent)
        await stream.aclose()
        assert (await ask({"do": "next"}))["done"] is True
        await eventually(lambda: len(bench.show._listeners) == 1)
    assert bench.show.own_faults == 0
