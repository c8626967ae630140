"""`bayleaf sysex` where no engine is needed. Statuses: our own contract (README)."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from engine.cli.app import app
from engine.cli.output import CommandError
from engine.instruments.dump_files import DumpFileError
from engine.live.socket import client

ONE, OTHER = bytes.fromhex("F07D0102F7"), bytes.fromhex("F07D0103F7")
WHOLE = bytes.fromhex("F07E000200") + bytes(120) + bytes.fromhex("7CF7")  # XOR of 7E 00 02 00 is 7C


def dump(folder: Path, name: str, data: bytes) -> str:
    file = folder / name
    file.write_bytes(data)
    return str(file)


def test_compare_says_by_its_status_what_it_found(tmp_path: Path) -> None:
    """0 for equal dumps; 1 with the place for different ones; 2 with the file's name for one that cannot be read."""
    first, second = dump(tmp_path, "a.syx", ONE * 2), dump(tmp_path, "b.syx", ONE + OTHER)
    cut = dump(tmp_path, "c.syx", ONE[:-1])
    same, differs, unread = (
        CliRunner().invoke(app, ["sysex", "compare", first, each]) for each in (first, second, cut)
    )
    assert (same.exit_code, differs.exit_code, unread.exit_code) == (0, 1, 2)
    assert "2 messages, 10 bytes" in same.output
    assert "message 2" in differs.output
    assert "c.syx: the last SysEx has no end" in unread.output


def test_a_damaged_packet_is_not_sent(tmp_path: Path) -> None:
    """A packet of a sample dump with a wrong checksum is reported by its place before anything is sent."""
    file = dump(tmp_path, "a.syx", WHOLE + WHOLE[:-2] + b"\x01\xf7")
    result = CliRunner().invoke(app, ["sysex", "send", file, "organ"])
    assert isinstance(result.exception, CommandError)
    assert str(result.exception).endswith("message 2 is damaged (its checksum is wrong); nothing was sent")


@pytest.mark.parametrize(
    "command", [["receive", "organ", "new.syx"], ["verify", "old.syx", "organ", "organ", "--of", "organ"]]
)
def test_a_version_that_cannot_be_kept_is_reported_before_an_instrument_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    """An instrument's name that cannot name a folder is rejected at once: a dump of several minutes would be lost."""
    monkeypatch.setattr(client, "converse", lambda *_: pytest.fail("nothing is asked yet"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    dump(tmp_path, "old.syx", ONE)
    result = CliRunner().invoke(app, ["sysex", *command, "--keep", "a/b"])
    assert isinstance(result.exception, DumpFileError), result.output
    assert '"a/b" cannot name a folder' in str(result.exception)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--request", "F0 7D F7"], "--request and --output go together"),
        (["--request", "F0 7D F7", "--of", "organ"], "give one of them"),
    ],
)
def test_what_cannot_be_meant_is_a_usage_error(tmp_path: Path, more: list[str], said: str) -> None:
    """A wrong combination of options gives status 2, with what goes together."""
    result = CliRunner().invoke(app, ["sysex", "receive", "organ", str(tmp_path / "new.syx"), *more])
    assert result.exit_code == 2
    assert said in " ".join(result.output.replace("│", " ").split())


class Answering:
    """An engine in the place of the socket: it keeps what it was asked, and answers with these messages of a dump."""

    def __init__(self, *messages: bytes) -> None:
        self.messages = messages
        self.asked: list[dict[str, Any]] = []

    def converse(self, _name: str, request: dict[str, Any], _patience: float) -> Iterator[dict[str, Any]]:
        self.asked.append(request)
        sizes = [len(message) for message in self.messages]
        progress = {"messages": len(sizes), "bytes": sum(sizes), "of": len(sizes), "of_bytes": sum(sizes), "left_s": 0}
        yield {"progress": progress, "messages": [message.hex() for message in self.messages]}
        yield {"done": True, "text": "sent", "longest": max(sizes, default=0)}


def answering(monkeypatch: pytest.MonkeyPatch, *messages: bytes) -> Answering:
    made = Answering(*messages)
    monkeypatch.setattr(client, "converse", made.converse)
    return made


@pytest.mark.parametrize(
    ("size", "more", "warned"),
    [
        (6250, [], False),
        (6251, [], True),
        (6251, ["--silence", "3"], False),
        (12_000, ["--silence", "3"], True),
    ],
)
def test_a_message_that_looks_like_silence_is_pointed_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int, more: list[str], warned: bool
) -> None:
    """A message that takes longer on a DIN cable (3,125 bytes per second: MIDI 1.0 p. 1) than the silence that ends a
    dump: the dump is kept, and the command says which --silence would be safe."""
    answering(monkeypatch, b"\xf0\x7d" + bytes(size - 3) + b"\xf7")
    file = tmp_path / "new.syx"
    result = CliRunner().invoke(app, ["sysex", "receive", "organ", str(file), *more])
    assert result.exit_code == 0
    assert file.stat().st_size == size
    needed = f"receive the dump again with --silence {size / 3125 + 1:.0f}"
    assert (needed in " ".join(result.output.split())) == warned


def test_a_damaged_dump_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A packet that arrived with a wrong checksum is reported by its place, and nothing is written or kept."""
    engine = answering(monkeypatch, WHOLE, WHOLE[:-2] + b"\x01\xf7")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    words = ["sysex", "receive", "organ", str(tmp_path / "new.syx"), "--keep", "organ"]
    result = CliRunner().invoke(app, words)
    assert isinstance(result.exception, CommandError)
    assert "message 2 is damaged (its checksum is wrong); nothing was written" in str(result.exception)
    assert list(tmp_path.rglob("*.syx")) == []
    (request,) = engine.asked
    assert (request["silence"], request["wait"]) == (2, 60)  # seconds, as the handbook says


@pytest.mark.parametrize(
    ("words", "asked"),
    [
        ([], {"gap": 0, "chunk": None, "handshake": False, "answers": None, "from": 1}),
        (["--gap", "50"], {"gap": 0.05}),
        (["--gap", "50", "--chunk", "4096"], {"gap": 0.05, "chunk": 4096}),
        (["--handshake"], {"handshake": True, "answers": None}),
        (["--handshake", "--answers", "keys"], {"handshake": True, "answers": "keys"}),
        (["--from", "18"], {"from": 18}),
    ],
)
def test_how_a_dump_is_sent_is_as_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], asked: dict[str, Any]
) -> None:
    """`send` passes its options on to the engine; milliseconds become seconds."""
    engine = answering(monkeypatch, ONE)
    file = dump(tmp_path, "a.syx", ONE)
    assert CliRunner().invoke(app, ["sysex", "send", file, "organ", *words]).exit_code == 0
    (request,) = engine.asked
    assert (request["what"], request["output"], request["messages"]) == ("send", "organ", [ONE.hex()])
    assert {key: request[key] for key in asked} == asked


def test_a_dump_is_verified_by_receiving_it_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`verify` sends as typed, takes the ACKs of the input that returns the dump, and compares: status 1 if it differs,
    with the message that does."""
    engine = answering(monkeypatch, OTHER)
    words = ["--request", "F0 7D 11 F7", "--gap", "20", "--chunk", "100", "--handshake", "--silence", "4"]
    results = [
        CliRunner().invoke(app, ["sysex", "verify", dump(tmp_path, "a.syx", sent), "organ", "keys", *words])
        for sent in (OTHER, ONE)
    ]
    assert [result.exit_code for result in results] == [0, 1]
    assert "message 1" in results[1].output
    sent, received, *_ = engine.asked
    assert [sent[key] for key in ("gap", "chunk", "handshake", "answers")] == [0.02, 100, True, "keys"]
    assert [received[key] for key in ("input", "output", "request", "silence")] == ["keys", "organ", "f07d11f7", 4]
