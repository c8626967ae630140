"""The flight recorder and the files it writes."""

import errno
import io
import json
import os
import resource
import struct
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine import durable_files
from engine.live.recorder import SHORT, FlightRecorder, RecordedEvent, RecorderSnapshot
from engine.live.recording_files import RecordingFileError, RecordingNames, write
from engine.live.recording_writer import keep

S = 1_000_000_000
INPUTS = ("keys", "pédales")
OUTPUTS = ("strings", "drums")
NAMES = RecordingNames("Pit", INPUTS, OUTPUTS)
NOTE = bytes.fromhex("90 3C 40")

_messages = st.sampled_from([NOTE, b"\xf8", bytes.fromhex("C0 05"), b"\xf0" + bytes(40) + b"\xf7"]) | st.binary(
    max_size=9
)
_steps = st.tuples(
    st.sampled_from(["in", "out", "scene", "told"]),
    st.sampled_from([0, 1, 2, 50, 300]),  # how much later, ms
    st.integers(0, 2),  # how late an arrival is taken, ms
    st.integers(0, 40),
    _messages,
    st.text(max_size=4),
)


def came_in(recorder: FlightRecorder, at: int, index: int, message: bytes) -> None:
    """What the show does with each message that comes in."""
    recorder.fresh.append((at, index, message))
    if len(message) > SHORT or len(recorder.fresh) >= recorder.piece:
        recorder.pack(len(message))


def went_out(recorder: FlightRecorder, at: int, index: int, message: bytes) -> None:
    """What the port bank does with each message that goes out."""
    came_in(recorder, at, ~index, message)


@dataclass
class Model:
    """Everything ever recorded, in a plain list."""

    recorder: FlightRecorder
    now: int = 5 * S
    everything: list[RecordedEvent] = field(default_factory=list)

    def step(self, way: str, later: int, late: int, number: int, message: bytes, text: str) -> None:
        self.now += later * 1_000_000
        if way == "in":
            past = RecordedEvent(self.now - late * 1_000_000, way, number, message, "")
            came_in(self.recorder, past.at, number, message)
        elif way == "out":
            past = RecordedEvent(self.now, way, number, message, "")
            went_out(self.recorder, past.at, number, message)
        elif way == "scene":
            past = RecordedEvent(self.now, way, number, b"", text)
            self.recorder.scene(past.at, number, text)
        else:
            past = RecordedEvent(self.now, way, 0, b"", text)
            self.recorder.told(past.at, text)
        self.everything.append(past)

    def expected(self, since: int) -> tuple[list[RecordedEvent], tuple[int, str] | None]:
        """Of what the recorder still has, the events since then and the scene at their beginning."""
        gone = len(self.everything) - self.recorder.size()["events"]
        still = self.everything[gone:]
        events = sorted((past for past in still if past.at >= since), key=lambda past: past.at)
        before = self.everything[:gone] + [past for past in still if past.at < since]
        scenes = [(past.number, past.text) for past in before if past.way == "scene"]
        return events, scenes[-1] if scenes else None


@settings(max_examples=150)
@given(st.lists(_steps, max_size=250), st.integers(1, 130), st.floats(0, 30))
def test_the_recorder_is_a_bounded_list(steps: list[Any], most: int, seconds: float) -> None:
    """Never more than `most_events`, only the oldest are lost, and `last` is exact. (Our own promise; no source.)"""
    model = Model(FlightRecorder(most_events=most))
    for step in steps:
        model.step(*step)
        assert model.recorder.size()["events"] <= most
    size = model.recorder.size()["events"]
    assert size >= min(len(steps), most - most // 16)
    kept = model.recorder.last(model.now, seconds)
    assert (kept.events(), kept.scene()) == model.expected(kept.since)
    assert model.recorder.last(model.now, 1e6).events() == model.expected(0)[0]


def test_long_messages_let_the_oldest_go() -> None:
    """However much SysEx arrives, memory is bounded by `most_bytes` plus one piece; only the oldest is lost."""
    model = Model(FlightRecorder(most_bytes=300_000))
    for _ in range(100):
        model.step("in", 1, 0, 0, b"\xf0" + bytes(10_000) + b"\xf7", "")
        model.step("out", 1, 0, 0, NOTE, "")
        size = model.recorder.size()
        events, _scene = model.expected(0)
        held = sum(len(past.message) for past in events)
        assert held <= size["bytes"] <= 400_000
        assert len(events) == len(model.everything) or size["bytes"] > 200_000
        assert model.recorder.last(model.now, 1e6).events() == events


def test_a_message_longer_than_all_room_is_kept_alone() -> None:
    """A SysEx larger than `most_bytes` pushes out everything else, but is itself kept."""
    model = Model(FlightRecorder(most_bytes=1000))
    model.step("in", 1, 0, 0, b"\xf0" + bytes(90_000) + b"\xf7", "")
    model.step("in", 1, 0, 0, b"\xf0" + bytes(80_000) + b"\xf7", "")
    assert model.recorder.last(model.now, 1e6).events() == model.everything[1:]


def test_a_snapshot_stays_as_it_was() -> None:
    """A snapshot from `last` does not change when more is recorded."""
    recorder = FlightRecorder(most_events=4)
    came_in(recorder, 1, 0, NOTE)
    kept = recorder.last(2, 1)
    for at in range(3, 50):
        came_in(recorder, at, 1, NOTE)
    assert kept.events() == [RecordedEvent(1, "in", 0, NOTE, "")]


def test_an_idle_recorder_is_empty_and_small() -> None:
    """A recorder takes memory only as it fills, and an empty one can be asked."""
    recorder = FlightRecorder()
    assert recorder.size() == {"events": 0, "bytes": 0, "seconds": 0}
    kept = recorder.last(9 * S, 300)
    assert (kept.events(), kept.scene(), kept.reaches) == ([], None, None)
    came_in(recorder, 2 * S, 0, NOTE)
    went_out(recorder, 7 * S, 0, NOTE)
    assert recorder.size()["seconds"] == 5
    assert recorder.size()["events"] == 2


# Files


def show() -> RecorderSnapshot:
    """A short show: 20 s, of which the last 10 are kept; scene 2 was in force when they began."""
    recorder = FlightRecorder()
    recorder.scene(10 * S, 2, "Overture")
    came_in(recorder, 12 * S, 0, bytes.fromhex("91 40 40"))
    came_in(recorder, 20 * S + 123_456_789, 0, NOTE)
    went_out(recorder, 20 * S + 123_999_999, 1, NOTE)
    came_in(recorder, 21 * S, 1, bytes.fromhex("C0 0B"))
    recorder.scene(21 * S, 12, "Finale — ґ")
    went_out(recorder, 21 * S + 250_000, 0, bytes.fromhex("F0 7D 01 02 F7"))
    recorder.told(22 * S, "outputs.drums is gone")
    for at, message in enumerate(("F8", "FE", "F1 23", "F2 01 02", "F3 04", "F6", "F4", "F0 01")):
        came_in(recorder, 23 * S + at, 0, bytes.fromhex(message))
    came_in(recorder, 29 * S + 999_949_000, 0, bytes.fromhex("80 3C 00"))
    return recorder.last(30 * S, 10)


def test_a_jsonl_file_says_what_parameters_are_set_to(tmp_path: Path) -> None:
    """Beside the bytes of the data; selections, and what belongs to no parameter, have no words."""
    recorder = FlightRecorder()
    for place, message in enumerate(("B0 63 01", "B0 62 08", "B0 06 40", "90 3C 40", "B0 26 10", "B1 06 05")):
        came_in(recorder, place, 0, bytes.fromhex(message))
    file = tmp_path / "kept.jsonl"
    keep(recorder.last(5000, S), file, INPUTS, OUTPUTS, "Pit")
    said = [json.loads(line).get("words") for line in file.read_text(encoding="utf-8").splitlines()[1:]]
    assert said == [None, None, "channel 1 NRPN 1/8 = 64", None, "channel 1 NRPN 1/8 = 8208 / 14", None]


def test_a_jsonl_file_says_what_14_bit_controllers_are_set_to(tmp_path: Path) -> None:
    """Beside the LSB, whose MSB came on the same port and channel (MIDI 1.0 p. 12)."""
    recorder = FlightRecorder()
    for place, message in enumerate(("B0 21 02", "B0 01 40", "B1 21 03", "B0 21 03", "B0 01 41")):
        came_in(recorder, place, 0, bytes.fromhex(message))
    file = tmp_path / "kept.jsonl"
    keep(recorder.last(5000, S), file, INPUTS, OUTPUTS, "Pit")
    said = [json.loads(line).get("words") for line in file.read_text(encoding="utf-8").splitlines()[1:]]
    assert said == [None, None, None, "channel 1 modulation 8195 / 14", None]


def test_a_jsonl_file_has_everything(tmp_path: Path) -> None:
    """One JSON object per line (RFC 8259): a header, then each event with port, time and bytes; our own format."""
    file = tmp_path / "kept.jsonl"
    kept = show()
    said = keep(kept, file, INPUTS, OUTPUTS, "Pit")
    assert said == f"saved 13 messages from the last 10 s in {file}"
    header, *lines = (json.loads(line) for line in file.read_text(encoding="utf-8").splitlines())
    assert header["format"] == "bayleaf recording 2"
    assert (header["rig"], header["messages"], header["scene"]) == ("Pit", 13, {"number": 2, "name": "Overture"})
    assert abs(datetime.fromisoformat(header["kept"]).timestamp() - kept.clock) <= 0.001
    clocks = [datetime.fromisoformat(line.pop("clock")).timestamp() for line in lines]
    assert all(abs(clock - clocks[0] - line["at"]) <= 0.0011 for clock, line in zip(clocks, lines, strict=True))
    assert abs(clocks[0] - (kept.clock - 30 + 20.123456789)) <= 0.001
    assert lines[:6] == [
        {"at": 0.0, "way": "in", "port": "keys", "message": "90 3C 40"},
        {"at": 0.00054321, "way": "out", "port": "drums", "message": "90 3C 40"},
        {"at": 0.876543211, "way": "in", "port": "pédales", "message": "C0 0B"},
        {"at": 0.876543211, "way": "scene", "scene": 12, "text": "Finale — ґ"},
        {"at": 0.876793211, "way": "out", "port": "strings", "message": "F0 7D 01 02 F7"},
        {"at": 1.876543211, "way": "told", "text": "outputs.drums is gone"},
    ]
    assert [line["message"] for line in lines[6:]] == [
        "F8", "FE", "F1 23", "F2 01 02", "F3 04", "F6", "F4", "F0 01", "80 3C 00",
    ]  # fmt: skip


def test_a_midi_file_read_by_mido(tmp_path: Path) -> None:
    """For a sequencer: format 1, a named track for each port in use, markers for scenes, true to 0.1 ms."""
    file = tmp_path / "kept.mid"
    said = keep(show(), file, INPUTS, OUTPUTS, "Pit")
    left_out = "8 system messages (clock and the like) are left out; a .jsonl file includes everything"
    assert said == f"saved 5 messages from the last 10 s in {file}; {left_out}"
    read = mido.MidiFile(file, charset="utf-8")
    assert read.type == 1
    assert [track.name for track in read.tracks] == ["Pit", "in keys", "in pédales", "out strings", "out drums"]
    seconds = 0.0
    heard: list[tuple[float, Any]] = []
    for message in read:
        seconds += message.time
        if not message.is_meta:
            heard.append((seconds, bytes(message.bytes())))
        elif message.type in ("marker", "text"):
            heard.append((seconds, message.text))
    assert heard[0][1].startswith("begins 20")
    expected = [
        (0.0, left_out),
        (0.0, "scene 2 Overture"),
        (0.0, NOTE),
        (0.000543211, NOTE),
        (0.876543211, "scene 12 Finale — ґ"),
        (0.876543211, bytes.fromhex("C0 0B")),
        (0.876793211, bytes.fromhex("F0 7D 01 02 F7")),
        (1.876543211, "outputs.drums is gone"),
        (9.876492211, bytes.fromhex("80 3C 00")),
    ]
    assert [what for _, what in heard[1:]] == [what for _, what in expected]
    for (seconds, _), (true, _) in zip(heard[1:], expected, strict=True):
        assert abs(seconds - true) <= 0.000051


def test_a_midi_file_read_byte_by_byte(tmp_path: Path) -> None:
    """Standard MIDI Files 1.0 (RP-001): whole chunks, only channel, SysEx and meta events, one end per track."""
    file = tmp_path / "kept.MID"
    keep(show(), file, INPUTS, OUTPUTS, "Pit")
    header, *tracks = chunks(file.read_bytes())
    assert header[0] == b"MThd"
    assert struct.unpack(">HHH", header[1]) == (1, len(tracks), 10_000)
    events = [list(track_events(data)) for kind, data in tracks if kind == b"MTrk"]
    assert len(events) == len(tracks)
    assert all(track[-1][1] == bytes.fromhex("FF 2F 00") for track in events)
    assert (0, bytes.fromhex("FF 51 03 0F 42 40")) in events[0], "a beat is a second: 1,000,000 µs"
    assert events[2][1:-1] == [(8765, bytes.fromhex("C0 0B"))]
    assert events[3][1:-1] == [(8768, bytes.fromhex("F0 04 7D 01 02 F7"))]
    assert events[1][1:-1] == [(0, NOTE), (98765, bytes.fromhex("80 3C 00"))]


def chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and content of each chunk; the chunks must fill the file."""
    while data:
        length = struct.unpack(">I", data[4:8])[0]
        assert len(data) >= 8 + length
        yield data[:4], data[8 : 8 + length]
        data = data[8 + length :]


def track_events(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Ticks from the beginning of the track, and the event with its status."""
    stream = io.BytesIO(data)
    tick, status = 0, 0
    while (place := stream.tell()) < len(data):
        assert place < len(data)
        tick += quantity(stream)
        first = stream.read(1)[0]
        if first < 0x80:
            stream.seek(-1, os.SEEK_CUR)
        else:
            status = first
        if status >= 0xF0:
            assert status in (0xF0, 0xFF), f"{status:02X} may not stand in a file"
            kind = stream.read(1) if status == 0xFF else b""
            begin = stream.tell()
            length = quantity(stream)
            written = data[begin : stream.tell()]
            yield tick, bytes((status,)) + kind + written + stream.read(length)
            status = 0
        else:
            yield tick, bytes((status,)) + stream.read(1 if status & 0xE0 == 0xC0 else 2)


def quantity(stream: io.BytesIO) -> int:
    """A variable-length quantity of at most four bytes (RP-001)."""
    value = 0
    for _ in range(4):
        byte = stream.read(1)[0]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value
    raise AssertionError("a quantity of more than four bytes")


def test_mido_has_no_way_for_other_system_messages() -> None:
    """mido 1.3.3 rejects real-time messages, writes system common ones bare and cannot read escape events (RP-001)."""
    with pytest.raises(ValueError, match="realtime"):
        mido.MidiFile(tracks=[[mido.Message("clock")]]).save(file=io.BytesIO())
    written = io.BytesIO()
    mido.MidiFile(tracks=[[mido.Message("song_select", song=4)]]).save(file=written)
    assert bytes.fromhex("00 F3 04 00 FF 2F 00") in written.getvalue()
    escaped = written.getvalue().replace(bytes.fromhex("00 F3 04"), bytes.fromhex("00 F7 01 F8"))
    escaped = escaped.replace(struct.pack(">I", 7), struct.pack(">I", 8))
    with pytest.raises(ValueError, match="data byte"):
        mido.MidiFile(file=io.BytesIO(escaped))


def test_a_silence_longer_than_a_file_can_say(tmp_path: Path) -> None:
    """A gap beyond the greatest delta time (RP-001: 0FFFFFFF) is split, so that what follows keeps its time."""
    recorder = FlightRecorder()
    came_in(recorder, 0, 0, NOTE)
    came_in(recorder, 100_000 * S, 0, NOTE)
    file = tmp_path / "long.mid"
    write(recorder.last(100_000 * S, 200_000), file, NAMES)
    events = [event for _, data in list(chunks(file.read_bytes()))[2:] for event in track_events(data)]
    assert [tick for tick, event in events if event == NOTE] == [0, 1_000_000_000]


@pytest.mark.parametrize("suffix", [".mid", ".jsonl"])
def test_a_show_in_which_nothing_happened(tmp_path: Path, suffix: str) -> None:
    """An empty recording makes a file that opens."""
    file = tmp_path / f"empty{suffix}"
    assert (
        write(FlightRecorder().last(9 * S, 90), file, NAMES) == f"saved 0 messages from the last 1 min 30 s in {file}"
    )
    if suffix == ".mid":
        assert not [message for message in mido.MidiFile(file) if not message.is_meta]
    else:
        assert json.loads(file.read_text())["begins"] is None


def test_the_sentence_says_how_far_back_the_recording_reaches(tmp_path: Path) -> None:
    """If asked for an hour of a recording of five minutes, it says five minutes."""
    recorder = FlightRecorder()
    came_in(recorder, 100 * S, 0, NOTE)
    file = tmp_path / "kept.jsonl"
    said = write(recorder.last(400 * S, 3600), file, NAMES)
    assert said == f"saved 1 message from the last 5 minutes in {file}; the recording goes no further back"


@pytest.mark.parametrize("name", ["kept.txt", "kept", "kept.mid.gz", ".mid"])
def test_another_kind_of_file_is_refused(tmp_path: Path, name: str) -> None:
    """The rejection says what is allowed."""
    with pytest.raises(RecordingFileError, match=r"in \.mid or \.jsonl$"):
        keep(show(), tmp_path / name, INPUTS, OUTPUTS, "Pit")
    assert list(tmp_path.iterdir()) == []


def test_a_path_that_depends_on_the_folder_is_refused() -> None:
    """The engine and the client may run in different folders, so only a full path is taken."""
    with pytest.raises(RecordingFileError, match="not an absolute path"):
        keep(show(), Path("kept.mid"), INPUTS, OUTPUTS, "Pit")


def test_a_file_that_appears_meanwhile_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that another program creates while the recording is written is not overwritten either."""
    file = tmp_path / "kept.mid"
    monkeypatch.setattr(os, "fsync", lambda _: file.write_text("precious"))
    with pytest.raises(RecordingFileError, match="already exists"):
        write(show(), file, NAMES)
    assert file.read_text() == "precious"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("trap", ["kept.mid", ".keeping.PROCESS"])
def test_no_link_is_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trap: str) -> None:
    """A link that another user has put there, or puts there meanwhile, leads no recording into another file."""
    trap = trap.replace("PROCESS", str(os.getpid()))
    precious = tmp_path / "precious"
    precious.write_text("precious")
    folder = tmp_path / "open to all"
    folder.mkdir()
    if trap == "kept.mid":
        monkeypatch.setattr(os, "fsync", lambda _: (folder / trap).symlink_to(precious))
        with pytest.raises(RecordingFileError, match="already exists"):
            write(show(), folder / "kept.mid", NAMES)
    else:
        (folder / trap).symlink_to(precious)
        write(show(), folder / "kept.mid", NAMES)
        assert (folder / "kept.mid").read_bytes()[:4] == b"MThd"
    assert precious.read_text() == "precious"
    assert (folder / trap).is_symlink()


def test_the_name_of_a_recording_lasts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The recording is on the disk before it gets its name, and its folder is flushed after that (POSIX fsync)."""
    steps: list[tuple[str, bool]] = []

    def seen(handle: int) -> None:
        steps.append((os.path.basename(os.readlink(f"/proc/self/fd/{handle}")), (tmp_path / "kept.mid").exists()))

    monkeypatch.setattr(os, "fsync", seen)
    write(show(), tmp_path / "kept.mid", NAMES)
    assert [exists for _, exists in steps] == [False, True]
    assert steps[-1] == (tmp_path.name, True)


def test_ctrl_c_does_not_reach_the_writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The writer has its own session (setsid(2)), so that Ctrl-C in the engine's terminal does not end it."""
    program = tmp_path / "says-its-session"
    program.write_text(f"#!{sys.executable}\nimport os\nprint(os.getsid(0) == os.getpid())\n")
    program.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(program))
    assert keep(show(), tmp_path / "kept.mid", INPUTS, OUTPUTS, "Pit") == "True"


@pytest.mark.parametrize("dangling", [False, True])
def test_a_file_that_exists_is_left_alone(tmp_path: Path, dangling: bool) -> None:
    """Neither a file nor a dangling link is overwritten."""
    file = tmp_path / "kept.mid"
    if dangling:
        file.symlink_to(tmp_path / "nowhere")
    else:
        file.write_text("precious")
    with pytest.raises(RecordingFileError, match="already exists and was not changed"):
        keep(show(), file, INPUTS, OUTPUTS, "Pit")
    assert list(tmp_path.iterdir()) == [file]
    assert dangling or file.read_text() == "precious"


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """One sentence says which file could not be written and why."""
    file = tmp_path / "none" / "kept.mid"
    with pytest.raises(RecordingFileError) as told:
        keep(show(), file, INPUTS, OUTPUTS, "Pit")
    assert str(told.value) == f"{file} could not be written: No such file or directory"


def test_a_disk_that_is_full_half_way(tmp_path: Path) -> None:
    """A file that cannot be finished leaves nothing behind (a size limit acts as a full disk: setrlimit(2))."""
    recorder = FlightRecorder()
    for at in range(5000):
        came_in(recorder, at, 0, NOTE)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, hard))
    try:
        with pytest.raises(RecordingFileError, match=r"could not be written: File too large$"):
            keep(recorder.last(5000, 1), tmp_path / "kept.jsonl", INPUTS, OUTPUTS, "Pit")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("owner", "step", "number"),
    [(os, "open", errno.EACCES), (os, "fsync", errno.ENOSPC), (durable_files, "rename_new", errno.EROFS)],
)
def test_a_fault_of_the_disk_at_any_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, step: str, number: int
) -> None:
    """Whichever step fails, the sentence gives the system's reason and nothing is left behind."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(owner, step, refuse)
    with pytest.raises(RecordingFileError) as told:
        write(show(), tmp_path / "kept.mid", NAMES)
    assert str(told.value) == f"{tmp_path / 'kept.mid'} could not be written: {os.strerror(number)}"
    assert list(tmp_path.iterdir()) == []


def test_a_process_that_cannot_be_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If the writer's process cannot be started, that is reported to the player."""
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no-python"))
    with pytest.raises(RecordingFileError, match="no process to write it could be started"):
        keep(show(), tmp_path / "kept.mid", INPUTS, OUTPUTS, "Pit")


def test_a_fault_of_our_own_is_reported_in_one_sentence(tmp_path: Path) -> None:
    """A port without a name is a fault of Bayleaf: it is reported in one sentence, and no file is left."""
    with pytest.raises(RecordingFileError, match=r"^nothing was kept: a fault of Bayleaf itself: IndexError: [^\n]*$"):
        keep(show(), tmp_path / "kept.jsonl", ("keys",), OUTPUTS, "Pit")
    assert list(tmp_path.iterdir()) == []


def test_a_writer_that_is_killed_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that ends without reading its work is reported as a fault, however much it was to read."""
    program = tmp_path / "ends-at-once"
    program.write_text("#!/bin/sh\nexit 9\n")
    program.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(program))
    recorder = FlightRecorder()
    for at in range(50_000):
        came_in(recorder, at, 0, NOTE)
    with pytest.raises(RecordingFileError, match="nothing was kept"):
        keep(recorder.last(50_000, 1), tmp_path / "kept.mid", INPUTS, OUTPUTS, "Pit")


def test_times_are_those_of_this_machines_clock() -> None:
    """`clock` is the time of day at which the snapshot was taken."""
    before = time.time()
    kept = FlightRecorder().last(0, 1)
    assert before <= kept.clock <= time.time()
