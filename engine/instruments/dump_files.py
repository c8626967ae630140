"""Reads and writes dumps as files: .syx (the bytes of the cable) and .mid (Standard MIDI File)."""

import io
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import mido

from engine import durable_files
from engine.midi.byte_stream import StreamParser
from engine.midi.kinds import SYSEX
from engine.midi.midi_file import MidiFileError, read_smf
from engine.user_error import UserError

LONGEST_FILE: Final = 64 << 20  # bytes
_BYTE_S: Final = 320e-6  # seconds per byte on a DIN cable (MIDI 1.0 p. 1)
_TICKS_A_SECOND: Final = 960  # at mido's 480 ticks per beat and 120 beats per minute


class DumpFileError(UserError):
    """A file cannot be read, written or understood; one sentence for the player says why."""


def read(path: Path) -> list[bytes]:
    """The SysEx messages of a .syx or .mid file, in order. Raises DumpFileError."""
    try:
        if path.stat().st_size > LONGEST_FILE:
            raise DumpFileError(f"{path}: this is longer than {LONGEST_FILE >> 20} MB and cannot be a dump")
        data = path.read_bytes()
    except OSError as fault:
        raise DumpFileError(f"{path}: cannot be read ({fault.strerror})") from None
    messages = _from_midi_file(path, data) if data[:4] in (b"MThd", b"RIFF") else _from_bytes(path, data)
    if not messages:
        raise DumpFileError(f"{path}: contains no SysEx messages")
    return messages


def _from_bytes(path: Path, data: bytes) -> list[bytes]:
    parser = StreamParser(longest=LONGEST_FILE)
    messages = parser.feed(data)
    if parser.open:
        raise DumpFileError(f"{path}: the last SysEx has no end (F7); the file was cut short")
    if parser.repairs or any(message[0] != SYSEX for message in messages):
        raise DumpFileError(f"{path}: contains bytes outside SysEx messages; it is damaged, or not a .syx file")
    return messages


def _from_midi_file(path: Path, data: bytes) -> list[bytes]:
    try:
        found = read_smf(data)
    except MidiFileError as fault:
        raise DumpFileError(f"{path}: {fault}") from None
    if found.complaints:
        raise DumpFileError(f"{path}: {found.complaints[0]}; the file is damaged")
    events = [event for track in found.tracks for event in track.events if event.meta < 0]
    if found.format < 2:  # its tracks play simultaneously
        events.sort(key=lambda event: event.tick)
    return [event.message for event in events if event.message[:1] == bytes((SYSEX,))]


def encode(path: Path, messages: Sequence[bytes]) -> bytes:
    """The bytes of a file of this name with these messages. Raises DumpFileError unless it ends in .syx or .mid."""
    if path.suffix.lower() == ".syx":
        return b"".join(messages)
    if path.suffix.lower() != ".mid":
        raise DumpFileError(f"{path}: the name of a dump file must end in .syx or .mid")
    # each message starts when a DIN cable has carried the previous one, so that any sequencer can play the file
    track = mido.MidiTrack()
    since = 0.0
    for message in messages:
        track.append(mido.Message("sysex", data=message[1:-1], time=round(since * _TICKS_A_SECOND)))
        since = len(message) * _BYTE_S + 1 / _TICKS_A_SECOND
    held = io.BytesIO()
    mido.MidiFile(type=0, tracks=[track]).save(file=held)
    return held.getvalue()


def refuse(path: Path) -> None:
    """Raise DumpFileError if a dump could not be written here; checked before the instrument is asked."""
    encode(path, ())
    free(path)
    if not path.parent.is_dir():
        raise DumpFileError(f"{path.parent}: there is no such folder")
    if not os.access(path.parent, os.W_OK):
        raise DumpFileError(f"{path.parent}: you are not allowed to write there")


def free(path: Path) -> None:
    """Raise DumpFileError if this cannot be the name of a new file."""
    try:
        os.lstat(path)
    except FileNotFoundError:
        return
    except (OSError, ValueError) as fault:  # a name that no file can have
        raise DumpFileError(f"{path}: cannot be written ({getattr(fault, 'strerror', fault)})") from None
    raise DumpFileError(f"{path}: already exists and was left alone; choose another name")


def write_new(path: Path, data: bytes) -> None:
    """Write a new file, completely or not at all. Raises DumpFileError; an existing file is left alone."""
    try:
        with durable_files.new(path) as file:
            file.write(data)
    except FileExistsError:
        raise DumpFileError(f"{path}: already exists and was left alone; choose another name") from None
    except OSError as fault:
        raise DumpFileError(f"{path}: cannot be written ({fault.strerror})") from None
