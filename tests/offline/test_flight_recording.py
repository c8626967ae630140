"""Flight recordings as `rehearse` reads them. The format is our own (engine/live/recording_files);
no outside source."""

import json
from pathlib import Path

import pytest

from engine.core.commands import AdoptRig
from engine.offline.flight_recording import FORMAT_2, FlightRecording, FlightRecordingError, Happened, read_recording
from engine.offline.replay import Replay
from engine.rig.read.load import load

RIG = """\
format = 1
[inputs]
keys = { port = "Piano" }
[outputs]
strings = { port = "Box" }
[instruments.pad]
output = "strings"
channel = 1
sounds_from = "list.toml"
[[scenes]]
number = 1
name = "One"
burst = [ { instrument = "pad", sound = "Warm" } ]
"""


@pytest.mark.parametrize(
    "line",
    [
        '{"at": Infinity, "way": "in", "port": "keys", "message": "F8"}',
        '{"at": NaN, "way": "in", "port": "keys", "message": "F8"}',
        '{"at": "1 second and many more", "way": "in", "port": "keys", "message": "F8"}',
        '{"at": 1e400, "way": "out", "port": "keys", "message": "F8"}',
        '{"at": 1, "way": "in", "port": ["keys"], "message": "F8"}',
        '{"at": 1, "way": "in", "port": "keys", "message": "F0 7D"}',
        '{"at": 1, "way": "did", "did": [["command"]]}',
        '{"at": 1, "way": "did", "did": []}',
        '{"at": 1, "way": "did", "did": ["refused", "strings", "9 3C 40"]}',
        '{"at": 1, "way": "did", "did": ["gone", {}, "90 3C 40"]}',
        '{"at": 1, "way": "did", "did": ["apply", "messages", {"messages": [["strings", "80"]]}, "shell"]}',
        "[" * 100_000,
        "[]",
        '{"at": 1, "way": "in", "por',
    ],
)
def test_a_broken_line_is_reported_by_its_number(tmp_path: Path, line: str) -> None:
    """Whatever is in a line that does not belong in a recording, the error names the file and the line."""
    file = tmp_path / "night.jsonl"
    file.write_text(json.dumps({"format": FORMAT_2, "monotonic": 0, "scene": None}) + "\n" + line + "\n")
    with pytest.raises(FlightRecordingError, match=r"night\.jsonl:2: "):
        read_recording(file)


def test_an_edit_finds_the_sound_lists_beside_the_rig(tmp_path: Path) -> None:
    """A night with an edit can be replayed from any folder: sound lists are looked up beside the rig file."""
    (tmp_path / "list.toml").write_text('format = 1\nsounds = [ { name = "Warm", program = 3 } ]\n')
    file = tmp_path / "pit.toml"
    file.write_text(RIG)
    edited = Happened(0, "did", command=AdoptRig(RIG.replace('"One"', '"Two"'), ()))
    replay = Replay(load(file), RIG, folder=tmp_path)
    replay.run(FlightRecording(0, None, [edited]))
    assert replay.engine.rig.scenes[0].name == "Two"


def test_an_edit_that_is_no_rig_is_reported(tmp_path: Path) -> None:
    """A recording that is damaged inside an edit ends the replay with a sentence."""
    file = tmp_path / "pit.toml"
    (tmp_path / "list.toml").write_text('format = 1\nsounds = [ { name = "Warm", program = 3 } ]\n')
    file.write_text(RIG)
    edited = Happened(0, "did", command=AdoptRig(RIG.replace("[[scenes]]", "[[scene]]"), ()))
    with pytest.raises(FlightRecordingError, match=r'"rig" at .* cannot be repeated'):
        Replay(load(file), RIG, folder=tmp_path).run(FlightRecording(0, None, [edited]))
