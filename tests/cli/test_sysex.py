"""`bayleaf sysex` where no engine is needed. Statuses: our own contract (README)."""

from pathlib import Path

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
