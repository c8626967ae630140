"""Dumps as files: read, written, and kept with a note beside them. mido is the independent reader and writer."""

import errno
import hashlib
import json
import os
from datetime import UTC, datetime
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.instruments import dump_files, dump_versions, sidecar
from engine.instruments.dump_files import DumpFileError

WHEN = datetime(2026, 3, 1, 19, 30, tzinfo=UTC)
SYSEX = st.lists(st.integers(0, 127), min_size=1, max_size=200).map(lambda data: bytes((0xF0, *data, 0xF7)))
DUMPS = st.lists(SYSEX, min_size=1, max_size=8)


@given(DUMPS)
def test_mido_reads_what_is_written_here(tmp_path_factory: pytest.TempPathFactory, messages: list[bytes]) -> None:
    """A .syx file holds the bytes of the cable (common practice, no source); mido finds the same messages in it."""
    path = tmp_path_factory.mktemp("dump") / "organ.syx"
    dump_files.write_new(path, dump_files.encode(path, messages))
    assert [bytes(message.bytes()) for message in mido.read_syx_file(str(path))] == messages


@given(DUMPS)
def test_what_mido_writes_is_read_here(tmp_path_factory: pytest.TempPathFactory, messages: list[bytes]) -> None:
    """A .syx file written by mido gives the same messages."""
    path = tmp_path_factory.mktemp("dump") / "organ.syx"
    mido.write_syx_file(str(path), [mido.Message.from_bytes(message) for message in messages])
    assert dump_files.read(path) == messages


def midi_file(*events: str) -> bytes:
    """A Standard MIDI File with one track of these events (including delta times, in hexadecimal)."""
    track = b"".join(map(bytes.fromhex, (*events, "00 FF 2F 00")))
    head = bytes.fromhex("4D 54 68 64 00 00 00 06 00 00 00 01 01 E0 4D 54 72 6B")
    return head + len(track).to_bytes(4, "big") + track


def test_a_message_in_packets_is_one_message(tmp_path: Path) -> None:
    """A SysEx that continues in F7 events is one message. Its packets taken singly would be three broken messages, each
    of which an instrument would take for a dump (RP-001 p. 6, "sysex event": the example with a delay between
    packets)."""
    path = tmp_path / "organ.mid"
    packets = "00 F0 03 43 12 00", "81 48 F7 06 43 12 00 43 12 00", "64 F7 04 43 12 00 F7"
    path.write_bytes(midi_file(*packets, "00 F0 02 7D F7", "00 90 3C 40"))
    assert dump_files.read(path) == [bytes.fromhex("F0 43 12 00 43 12 00 43 12 00 43 12 00 F7"), b"\xf0\x7d\xf7"]


@pytest.mark.parametrize(
    "events",
    [
        ("00 F0 03 43 12 00",),
        ("00 F0 03 43 12 00", "00 F0 02 7D F7"),
        ("00 F0 02 7D F7", "00 F0 09 43"),
        ("00 F0 02 7D F7", "00 F0"),
    ],
)
def test_a_midi_file_with_a_message_without_an_end_is_refused(tmp_path: Path, events: tuple[str, ...]) -> None:
    """If a SysEx in a file has no end, nothing of the file is sent: a missing end is not made up."""
    path = tmp_path / "organ.mid"
    path.write_bytes(midi_file(*events))
    with pytest.raises(DumpFileError, match=r"organ\.mid: track 1 "):
        dump_files.read(path)


def test_the_longest_message_of_a_midi_file(tmp_path: Path) -> None:
    """A dump of two megabytes in one message is read whole."""
    path = tmp_path / "sampler.mid"
    messages = [b"\xf0\x7d" + bytes(2 << 20) + b"\xf7"]
    path.write_bytes(dump_files.encode(path, messages))
    assert dump_files.read(path) == messages


@given(DUMPS)
def test_a_midi_file_holds_the_same(tmp_path_factory: pytest.TempPathFactory, messages: list[bytes]) -> None:
    """A .mid file (Standard MIDI File 1.0, read through mido) gives back what was put in."""
    path = tmp_path_factory.mktemp("dump") / "organ.mid"
    dump_files.write_new(path, dump_files.encode(path, messages))
    assert dump_files.read(path) == messages


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "contains no SysEx"),
        (b"\xf0\x7d\x01", "cut short"),
        (b"\xf0\x7d\x01\xf7\x90\x3c\x40", "bytes outside SysEx"),
        (b"\x01\x02\xf0\x7d\xf7", "bytes outside SysEx"),
        (b"\xf0\x7d\x01\xf0\x7d\x02\xf7", "bytes outside SysEx"),
        (b"MThd\x00\x00", "not a Standard MIDI File"),
    ],
)
def test_a_damaged_file_is_reported(tmp_path: Path, data: bytes, said: str) -> None:
    """A file that is cut short, mixed or of another kind is rejected with its name."""
    path = tmp_path / "organ.syx"
    path.write_bytes(data)
    with pytest.raises(DumpFileError, match=said) as caught:
        dump_files.read(path)
    assert str(path) in str(caught.value)


def test_the_note_beside_a_dump(tmp_path: Path) -> None:
    """The note beside the file has the port, the time, counts, the SHA-256 and whatever else is known."""
    path = tmp_path / "organ.syx"
    messages = [b"\xf0\x7d\x01\xf7", b"\xf0\x7d\x02\x03\xf7"]
    sidecar.keep(path, messages, "keys", WHEN, {"instrument": "organ", "identity": None})
    note = json.loads((tmp_path / "organ.syx.json").read_text(encoding="utf-8"))
    assert note == {
        "file": "organ.syx",
        "port": "keys",
        "time": "2026-03-01T19:30:00+00:00",
        "messages": 2,
        "bytes": 9,
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "instrument": "organ",
    }


@pytest.mark.parametrize("there", ["organ.syx", "organ.syx.json"])
def test_nothing_is_overwritten(tmp_path: Path, there: str) -> None:
    """An existing dump or note stays as it is, and nothing is added."""
    (tmp_path / there).write_text("old")
    with pytest.raises(DumpFileError, match="already exists"):
        sidecar.keep(tmp_path / "organ.syx", [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [(there, "old")]


def test_what_could_not_be_written_is_reported_before_a_dump_comes(tmp_path: Path) -> None:
    """An existing file, a name too long for the note, or a folder that does not exist is rejected at once."""
    (tmp_path / "organ.syx.json").write_text("old")
    for name in ("organ.syx", f"{'o' * 248}.syx", f"{'o' * 300}.syx", "nowhere/organ.syx"):
        with pytest.raises(DumpFileError):
            sidecar.refuse(tmp_path / name)
    sidecar.keep(tmp_path / f"{'o' * 246}.syx", [b"\xf0\x7d\xf7"], "keys", WHEN)


def test_a_name_that_is_no_unicode_is_kept(tmp_path: Path) -> None:
    """A file whose name is in Latin-1 gets its dump and its note."""
    path = tmp_path / os.fsdecode(b"org\xfcl.syx")
    sidecar.keep(path, [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert json.loads(sidecar.sidecar(path).read_bytes())["file"] == path.name


@pytest.mark.parametrize("file", [1, 3])  # 2 is the folder of the first
def test_a_full_disk_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, file: int) -> None:
    """If the disk is full for the note or the dump, neither is left, nor a temporary file; earlier ones stay."""
    earlier = tmp_path / "earlier.syx"
    sidecar.keep(earlier, [b"\xf0\x7d\xf7"], "keys", WHEN)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    real, calls = os.fsync, []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) == file:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DumpFileError, match="No space left"):
        sidecar.keep(tmp_path / "organ.syx", [b"\xf0\x7d\x01\xf7"], "keys", WHEN)
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_versions_are_numbered_by_instrument(tmp_path: Path) -> None:
    """Each dump of an instrument gets the next number; a name that cannot name a folder is rejected."""
    for number in (1, 2):
        path = dump_versions.next_version(tmp_path, "string machine")
        assert path == tmp_path / "string machine" / f"000{number}.syx"
        sidecar.keep(path, [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert dump_versions.next_version(tmp_path, "organ").name == "0001.syx"
    for name in ("", "../organ", "a/b", ".hidden"):
        with pytest.raises(DumpFileError):
            dump_versions.next_version(tmp_path, name)
