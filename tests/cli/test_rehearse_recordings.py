"""`bayleaf rehearse --recording`, as a user types it."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from engine.core.engine import Engine
from tests.support.bayleaf_command import Bayleaf
from tests.support.rehearsal_rig import SONG


class BrokenEngine:
    """An engine that fails at C4."""

    def __init__(self, *given: Any, **more: Any) -> None:
        self._engine = Engine(*given, **more)

    def receive(self, now: int, source: int, message: bytes) -> object:
        if message[1] == 0x3C:
            raise RuntimeError("broken")
        return self._engine.receive(now, source, message)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._engine, name)


def recorded(file: Path, *happened: Mapping[str, object], head: Mapping[str, object] | None = None) -> Path:
    """A flight recording of these entries."""
    first = {"format": "bayleaf recording 1", "rig": "x", "scene": None, "monotonic": 10**12, **(head or {})}
    lines = [first, *({"clock": "", **each} for each in happened)]
    file.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    return file


def test_a_recording_says_where_it_parts_from_the_replay(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """What went out that night is compared with the replay; the first difference of each output is reported."""
    begin = {"at": 0, "way": "did", "did": ["start", {}, ["strings"]]}
    scene = {"at": 0, "way": "did", "did": ["command", "scene", 1, "start"]}
    note = {"at": 1, "way": "in", "port": "keys", "message": "91 3C 40"}
    burst = [{"at": 0, "way": "out", "port": "strings", "message": each} for each in ("B0 00 00", "B0 20 03", "C0 0B")]
    run = ("rehearse", rig, "--out", tmp_path / "out", "--recording")
    good = recorded(tmp_path / "a.jsonl", begin, scene, *burst, note, {**note, "way": "out", "port": "strings"})
    status, out, _ = bayleaf(*run, good)
    assert status == 0
    assert "identical to the recording, byte for byte: 4 messages" in out
    wrong = {**note, "way": "out", "port": "strings", "message": "91 3D 40"}
    status, out, _ = bayleaf(*run, recorded(tmp_path / "b.jsonl", begin, scene, *burst, note, wrong))
    assert status == 0
    assert "strings first differs at 0:01.000" in out
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert report["recording"]["first_differences"][0]["then"] == "91 3D 40"
    assert "the recording ends while C4 on strings channel 2 sounds" in report["findings"]
    assert "strings first differs at 0:01.000" in (tmp_path / "out" / "report.html").read_text()
    status, out, _ = bayleaf(*run, recorded(tmp_path / "c.jsonl"))
    assert "the recording holds no message" in out
    assert "byte for byte" not in out


def test_a_recording_that_begins_within_the_show(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """A recording cut at its beginning is replayed from the scene then in force. Anything that began earlier is
    reported as a difference, and the rest is still compared. Ports that this rig does not have are reported and left
    out."""
    note = {"at": 1, "way": "in", "port": "keys", "message": "91 3C 40"}
    held = {"at": 0, "way": "in", "port": "keys", "message": "81 30 40"}
    out = [{**each, "way": "out", "port": "strings"} for each in (held, note)]
    stranger = {"at": 2, "way": "in", "port": "organ", "message": "90 3C 40"}
    lost = {"at": 2, "way": "did", "did": ["input lost", "organ"]}
    head = {"scene": {"number": 2, "name": "x"}}
    other = {"at": 1, "way": "out", "port": '<b>brass & "co"', "message": "91 3D 40"}
    file = recorded(tmp_path / "a.jsonl", held, out[0], note, out[1], other, stranger, lost, head=head)
    status, said, _ = bayleaf("rehearse", rig, "--recording", file, "--out", tmp_path / "out")
    assert status == 0
    assert "does not reach back to the start" in said
    assert "strings differs" not in said
    assert "the rig has no input organ" in said
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert report["recording"]["same"] == 2
    assert [each["output"] for each in report["recording"]["first_differences"]] == ['<b>brass & "co"']


def test_a_fault_of_our_own_costs_its_message_only(
    bayleaf: Bayleaf, rig: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of Bayleaf itself recurs in the replay and is reported; it costs only its own message."""
    monkeypatch.setattr("engine.offline.replay.Engine", BrokenEngine)
    notes = [{"at": n, "way": "in", "port": "keys", "message": f"91 {n + 0x3C:02X} 40"} for n in range(2)]
    scene = {"at": 0, "way": "did", "did": ["command", "scene", 1, "start"]}
    file = recorded(tmp_path / "a.jsonl", scene, *notes, {**notes[1], "way": "out", "port": "strings"})
    status, said, _ = bayleaf("rehearse", rig, "--recording", file, "--out", tmp_path / "out")
    assert status == 0
    assert "note on C4 velocity 64 from keys causes a fault of Bayleaf itself: RuntimeError('broken')" in said


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", "is not a flight recording"),
        ("MThd", "a.jsonl:1"),
        ('{"format": "bayleaf recording 1"}\n[]\n', "a.jsonl:2"),
        ('{"format": "bayleaf recording 1"}\n{"at": 0, "way": "in", "port": "keys", "message": "90"}\n', "a.jsonl:2"),
        ('{"format": "bayleaf recording 1", "scene": 3}\n', "a.jsonl:1"),
        (
            '{"format": "bayleaf recording 1"}\n{"at": 0, "way": "did", "did": ["command"]}\n',
            'a.jsonl:2: "command" cannot be read',
        ),
        ('{"format": "bayleaf recording 1"}\n{"at": 0, "way": "did", "did": ["rig file"]}\n', "cannot be repeated"),
    ],
)
def test_a_broken_recording_is_reported(
    bayleaf: Bayleaf, rig: Path, tmp_path: Path, content: str, expected: str
) -> None:
    """A recording that cannot be read gives one sentence with the line, and status 1; nothing is written."""
    file = tmp_path / "a.jsonl"
    file.write_text(content)
    status, _, err = bayleaf("rehearse", rig, "--recording", file, "--out", tmp_path / "out")
    assert status == 1
    assert expected in err
    assert not (tmp_path / "out").exists()


def test_a_song_or_a_recording(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """Giving both a song and a recording, or neither, is a usage error, and so is an input with a recording; a file of
    the wrong kind is reported."""
    file = recorded(tmp_path / "a.jsonl")
    assert "use --recording" in bayleaf("rehearse", rig, file, "--input", "keys", "--out", tmp_path / "x")[2]
    assert "holds no commands" in bayleaf("rehearse", rig, "--recording", SONG, "--out", tmp_path / "x")[2]
    assert bayleaf("rehearse", rig, "--out", tmp_path)[0] == 2
    assert bayleaf("rehearse", rig, SONG, "--recording", file, "--out", tmp_path)[0] == 2
    assert bayleaf("rehearse", rig, "--recording", file, "--input", "keys", "--out", tmp_path)[0] == 2
