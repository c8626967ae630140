"""Dumps as files: read, written, kept beside a note. mido is the outside reader and writer."""

import errno
import hashlib
import json
import os
from datetime import UTC, datetime

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.instruments import files, sidecar, versions
from engine.instruments.files import DumpFault

WHEN = datetime(2026, 3, 1, 19, 30, tzinfo=UTC)
SYSEX = st.lists(st.integers(0, 127), min_size=1, max_size=200).map(lambda data: bytes((0xF0, *data, 0xF7)))
DUMPS = st.lists(SYSEX, min_size=1, max_size=8)


@given(DUMPS)
def test_mido_reads_what_is_written_here(tmp_path_factory, messages):
    """A .syx file holds the bytes of the cable (common practice, no source); mido finds the same messages."""
    path = tmp_path_factory.mktemp("dump") / "organ.syx"
    files.write_new(path, files.encode(path, messages))
    assert [bytes(message.bytes()) for message in mido.read_syx_file(str(path))] == messages


@given(DUMPS)
def test_what_mido_writes_is_read_here(tmp_path_factory, messages):
    """A .syx file of mido's gives the same messages."""
    path = tmp_path_factory.mktemp("dump") / "organ.syx"
    mido.write_syx_file(str(path), [mido.Message.from_bytes(message) for message in messages])
    assert files.read(path) == messages


@given(DUMPS)
def test_a_midi_file_holds_the_same(tmp_path_factory, messages):
    """A .mid file (Standard MIDI File 1.0, through mido) gives back what was put in."""
    path = tmp_path_factory.mktemp("dump") / "organ.mid"
    files.write_new(path, files.encode(path, messages))
    assert files.read(path) == messages


def smf(*events: bytes) -> bytes:
    """A Standard MIDI File with one track of these events, each a beat behind the one before (RP-001 p. 3)."""
    track = b"".join(b"\x60" + event for event in events) + b"\x00\xff\x2f\x00"
    return b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk" + len(track).to_bytes(4, "big") + track


def test_a_sysex_in_pieces_is_one_message(tmp_path):
    """A SysEx that a file spreads over an F0 event and F7 events behind it is whole again (RP-001 p. 6)."""
    path = tmp_path / "organ.mid"
    path.write_bytes(smf(b"\xf0\x03\x7d\x01\x02", b"\xf7\x02\x03\x04", b"\x90\x3c\x40", b"\xf7\x02\x05\xf7"))
    assert files.read(path) == [b"\xf0\x7d\x01\x02\x03\x04\x05\xf7"]


@pytest.mark.parametrize(
    "events",
    [
        (b"\xf0\x03\x7d\x01\x02",),
        (b"\xf0\x03\x7d\x01\x02", b"\xf0\x02\x7d\xf7"),
        (b"\xf0\x02\x7d\xf7", b"\xf7\x02\x03\xf7"),
        (b"\xf0\x02\x7d\xf7", b"\xf0\x05\x7d\x01"),
    ],
)
def test_a_midi_file_with_a_broken_sysex_is_damaged(tmp_path, events):
    """A SysEx without its end, or an end without its SysEx, is told: half a dump is none."""
    path = tmp_path / "organ.mid"
    path.write_bytes(smf(*events))
    with pytest.raises(DumpFault, match=r"organ\.mid: is damaged, for track 1 "):
        files.read(path)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "holds no SysEx"),
        (b"\xf0\x7d\x01", "cut short"),
        (b"\xf0\x7d\x01\xf7\x90\x3c\x40", "belong to no SysEx"),
        (b"\x01\x02\xf0\x7d\xf7", "belong to no SysEx"),
        (b"\xf0\x7d\x01\xf0\x7d\x02\xf7", "belong to no SysEx"),
        (b"MThd\x00\x00", "no Standard MIDI File"),
    ],
)
def test_a_damaged_file_is_told(tmp_path, data, said):
    """What is cut, mixed or something else is refused with the file's name."""
    path = tmp_path / "organ.syx"
    path.write_bytes(data)
    with pytest.raises(DumpFault, match=said) as caught:
        files.read(path)
    assert str(path) in str(caught.value)


def test_the_note_beside_a_dump(tmp_path):
    """Port, time, counts, SHA-256 and what else is known lie beside the file."""
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
def test_nothing_is_overwritten(tmp_path, there):
    """A dump or a note that is there stays as it is, and nothing is added."""
    (tmp_path / there).write_text("old")
    with pytest.raises(DumpFault, match="nothing is overwritten"):
        sidecar.keep(tmp_path / "organ.syx", [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [(there, "old")]


def test_what_could_not_be_written_is_told_before_a_dump_comes(tmp_path):
    """What is there already, a name too long for the note and a folder that is not there are refused at once."""
    (tmp_path / "organ.syx.json").write_text("old")
    for name in ("organ.syx", f"{'o' * 248}.syx", f"{'o' * 300}.syx", "nowhere/organ.syx"):
        with pytest.raises(DumpFault):
            sidecar.refuse(tmp_path / name)
    sidecar.keep(tmp_path / f"{'o' * 246}.syx", [b"\xf0\x7d\xf7"], "keys", WHEN)


def test_a_name_that_is_no_unicode_is_kept(tmp_path):
    """A file whose name is Latin-1 has its dump and its note."""
    path = tmp_path / os.fsdecode(b"org\xfcl.syx")
    sidecar.keep(path, [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert json.loads(sidecar.sidecar(path).read_bytes())["file"] == path.name


@pytest.mark.parametrize("file", [1, 2])
def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch, file):
    """Whether the note or the dump finds no room, neither is left, nor a temporary file; earlier ones stay."""
    earlier = tmp_path / "earlier.syx"
    sidecar.keep(earlier, [b"\xf0\x7d\xf7"], "keys", WHEN)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    real, calls = os.fsync, []

    def full(handle):
        calls.append(handle)
        if len(calls) == file:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DumpFault, match="No space left"):
        sidecar.keep(tmp_path / "organ.syx", [b"\xf0\x7d\x01\xf7"], "keys", WHEN)
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_versions_are_numbered_by_instrument(tmp_path):
    """Each dump of an instrument gets the next number; a name that is no folder's is refused."""
    for number in (1, 2):
        path = versions.next_version(tmp_path, "string machine")
        assert path == tmp_path / "string machine" / f"000{number}.syx"
        sidecar.keep(path, [b"\xf0\x7d\xf7"], "keys", WHEN)
    assert versions.next_version(tmp_path, "organ").name == "0001.syx"
    for name in ("", "../organ", "a/b", ".hidden"):
        with pytest.raises(DumpFault):
            versions.next_version(tmp_path, name)
