"""Recordings of an earlier version, replayed byte for byte: see tests/recordings/README.md. (No outside source.)"""

import gzip
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from engine.offline.flight_recording import FlightRecording, read_recording
from engine.offline.replay import Replay, ReplayResult
from engine.rig.read.load import read
from tests.support.paths import ROOT

FOLDER = ROOT / "tests" / "recordings"
NAMES = sorted(file.name.removesuffix(".jsonl.gz") for file in FOLDER.glob("*.jsonl.gz"))
MANIFEST: dict[str, dict[str, Any]] = json.loads((FOLDER / "MANIFEST.json").read_text(encoding="utf-8"))

#: everything that a recording can say was done, by the first word of its line
CALLS = {
    "start",
    "rig file",
    "rig",
    "tick",
    "command",
    "sync",
    "mute",
    "begin",
    "send",
    "sound",
    "keep back",
    "finish",
    "awake",
    "resume",
    "led by",
    "follow",
    "follow time",
    "input there",
    "input lost",
    "output there",
    "output left",
    "output lost",
    "output closed",
    "refused",
    "gone",
}
COMMANDS = {"scene", "next", "back", "first", "entry", "setlist", "panic", "resend", "tap"}
SYNC = {
    *(("clock", verb) for verb in ("start", "stop", "continue", "tempo")),
    *(("timecode", verb) for verb in ("start", "stop", "locate")),
}


@cache
def recording_of(name: str) -> FlightRecording:
    """A kept recording, unpacked and read."""
    with TemporaryDirectory() as folder:
        plain = Path(folder, f"{name}.jsonl")
        plain.write_bytes(gzip.decompress((FOLDER / f"{name}.jsonl.gz").read_bytes()))
        return read_recording(plain)


def rig_text(name: str) -> str:
    """The rig file's text at the start of the recording."""
    return FOLDER.joinpath(MANIFEST[name]["rig"]).read_text(encoding="utf-8")


@cache
def done(name: str) -> list[list[Any]]:
    """Everything that a recording says was done, as written in its file."""
    lines = gzip.decompress((FOLDER / f"{name}.jsonl.gz").read_bytes()).decode().splitlines()[1:]
    return [line["did"] for line in map(json.loads, lines) if line["way"] == "did"]


@cache
def replayed(name: str) -> ReplayResult:
    """Replay the recording through its rig, in this version."""
    text = rig_text(name)
    return Replay(read(text, MANIFEST[name]["rig"]), text).run(recording_of(name))


def all_done() -> Iterator[list[Any]]:
    """Everything that was done in any of the recordings."""
    for name in NAMES:
        yield from done(name)


def test_there_are_twenty() -> None:
    """All twenty recordings are there, and each has a line in the manifest."""
    assert len(NAMES) == 20
    assert sorted(MANIFEST) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_it_replays_byte_for_byte(name: str) -> None:
    """Every message that went out then goes out now, at the same nanosecond; and no other does."""
    recording = recording_of(name)
    assert recording.whole
    assert ["rig file", rig_text(name)] in done(name)
    found = replayed(name)
    assert found.odd == []
    assert found.same == MANIFEST[name]["same"] == sum(each.way == "out" for each in recording.happened) > 0


def test_everything_that_a_recording_can_say_occurs() -> None:
    """Each kind of entry, command and verb is in at least one of the twenty."""
    listed = list(all_done())
    assert {did[0] for did in listed} == CALLS
    commands = [did for did in listed if did[0] == "command"]
    assert {did[1] for did in commands} == COMMANDS
    assert {type(did[2]) for did in commands if did[1] == "scene"} == {int, str}
    assert {tuple(did[1:3]) for did in listed if did[0] == "sync"} == SYNC
    for what, place in (("mute", 2), ("keep back", 2)):
        assert {did[place] for did in listed if did[0] == what} == {True, False}
    assert {did[1] is None for did in listed if did[0] == "led by"} == {True, False}
    assert any(did[3] for did in listed if did[0] == "output there")  # messages that it missed


def test_whoever_may_command_does() -> None:
    """Scenes are recalled by switches, by programs, by other machines, by time code, and from outside."""
    sources = {change.outcome.source for name in NAMES for change in replayed(name).done.changes}
    pressed = {f"foot, controller 94, {kind} press" for kind in ("short", "long", "double")}
    assert sources >= {"shell", "panel", "start", "time code", "keys", "foot, channel 1 program 2", *pressed}


@pytest.mark.parametrize(
    "words", ['filter = "echo"', "[[setlists]]", "[[controls]]", "[remote]", 'held = "cut"', "\nat = ", "chase = true"]
)
def test_the_rigs_have(words: str) -> None:
    """The rigs that were played contain every feature that they were made to cover."""
    texts = [rig_text(name) for name in NAMES] + [did[1] for did in all_done() if did[0] == "rig"]
    assert any(words in text for text in texts)
