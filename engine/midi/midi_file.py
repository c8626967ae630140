"""Reads and writes Standard MIDI Files (RP-001, "Standard MIDI Files 1.0").

mido neither reads nor writes escape events (F7), with which a file carries clock, time code and single pieces of a
SysEx, and it rejects a file whose last chunk is cut short or whose key signature is odd. Here such a file is read as
far as it goes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from engine.midi.byte_stream import StreamParser
from engine.midi.kinds import DATA_BYTES, SYSEX, SYSEX_END

META: Final = 0xFF
TRACK_NAME, END_OF_TRACK, TEMPO, METER = 0x03, 0x2F, 0x51, 0x58
SPECIFIC: Final = 0x7F
#: how a sequencer-specific event of ours begins; a system message other than SysEx follows. Other programs skip it
OURS: Final = b"\x7d\x62\x6c"


class MidiFileError(ValueError):
    """These bytes are not a Standard MIDI File that can be played; the text says why."""


class MidiFileEvent(NamedTuple):
    """A message, or a meta event: then `meta` is its kind and not -1. `tick` counts from the start."""

    tick: int
    message: bytes
    meta: int = -1


@dataclass
class MidiTrack:
    """One track: its name (empty if it has none), its events by time, and where it ends (ticks)."""

    name: str = ""
    events: list[MidiFileEvent] = field(default_factory=list)
    ends: int = 0


@dataclass
class MidiFile:
    """A file. `division`: ticks per beat, or in time-code files, where it is negative, minus the ticks per second.

    `complaints`: sentences about what was broken and skipped.
    """

    format: int
    division: int
    tracks: list[MidiTrack]
    complaints: list[str] = field(default_factory=list)


def read_smf(data: bytes) -> MidiFile:
    """The file in these bytes, as far as it can be read. Raises MidiFileError."""
    if data[:4] == b"RIFF" and data[8:12] == b"RMID":
        data = data[20:]
    if data[:4] != b"MThd" or len(data) < 14:
        raise MidiFileError("not a Standard MIDI File: it does not begin with MThd")
    header = int.from_bytes(data[4:8], "big")
    form, _, division = (int.from_bytes(data[at : at + 2], "big") for at in (8, 10, 12))
    if division == 0 or form > 2:
        raise MidiFileError(f"a Standard MIDI File of format {form} with {division} ticks per beat cannot be played")
    file = MidiFile(form, _division(division), [])
    place = 8 + header
    while place + 8 <= len(data):
        kind, size = data[place : place + 4], int.from_bytes(data[place + 4 : place + 8], "big")
        place += 8
        if kind == b"MTrk":
            file.tracks.append(_read_track(data[place : place + size], len(file.tracks) + 1, file.complaints))
            if place + size > len(data):
                file.complaints.append(f"track {len(file.tracks)} is cut short")
        place += size
    if not file.tracks:
        raise MidiFileError("a Standard MIDI File without a track")
    return file


def _division(word: int) -> int:
    """With bit 15: frames per second, negative, in the high byte, and ticks per frame in the low one (RP-001 p. 4)."""
    if word < 0x8000:
        return word
    frames, ticks = 256 - (word >> 8), word & 0xFF
    if not ticks:
        raise MidiFileError("a Standard MIDI File with 0 ticks per frame cannot be played")
    return -frames * ticks


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.place = 0

    def byte(self) -> int:
        self.place += 1
        return self.data[self.place - 1]

    def take(self, count: int) -> bytes:
        if self.place + count > len(self.data):
            raise IndexError
        self.place += count
        return self.data[self.place - count : self.place]

    def quantity(self) -> int:
        """A variable-length quantity, at most four bytes (RP-001 p. 2)."""
        value = 0
        for _ in range(4):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise IndexError


def _read_track(data: bytes, number: int, complaints: list[str]) -> MidiTrack:
    track, reader, escaped = MidiTrack(), _Reader(data), StreamParser(longest=len(data) + 2)
    status = tick = 0
    try:
        while reader.place < len(data):
            tick += reader.quantity()
            first = data[reader.place]
            if first >= 0x80:
                reader.place += 1
                status = first
            if status == META:
                kind, body = reader.byte(), reader.take(reader.quantity())
                _take_meta(track, tick, kind, body)
                if kind == END_OF_TRACK:
                    break
                status = 0  # p. 6: meta events and SysEx cancel running status
            elif status in (SYSEX, SYSEX_END):
                body = reader.take(reader.quantity())
                whole = bytes((SYSEX,)) + body if status == SYSEX else body
                track.events += [MidiFileEvent(tick, message) for message in escaped.feed(whole)]
                status = 0
            else:
                _take_voice(track, tick, status, reader)
    except IndexError:
        complaints.append(f"track {number} ends in the middle of an event")
    if escaped.open or escaped.repairs:
        complaints.append(f"track {number} has a SysEx that never ends")
    track.ends = tick
    return track


def _take_voice(track: MidiTrack, tick: int, status: int, reader: _Reader) -> None:
    want = DATA_BYTES[status] if status >= 0x80 else None
    if want is None or want < 0:
        raise IndexError
    body = reader.take(want)
    if any(byte > 0x7F for byte in body):
        raise IndexError
    track.events.append(MidiFileEvent(tick, bytes((status,)) + body))


def _take_meta(track: MidiTrack, tick: int, kind: int, body: bytes) -> None:
    if kind == TRACK_NAME and not track.name:
        track.name = _text(body)
    if kind == SPECIFIC and body.startswith(OURS):
        track.events.append(MidiFileEvent(tick, body[len(OURS) :]))
    else:
        track.events.append(MidiFileEvent(tick, body, kind))


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8").strip()
    except UnicodeDecodeError:
        return body.decode("latin-1").strip()


def write_smf(division: int, tracks: Sequence[Iterable[MidiFileEvent]]) -> bytes:
    """A file of format 1 with these tracks, each by time. mido and sequencers read it.

    System messages other than SysEx are written as sequencer-specific events of ours (see `OURS`).
    """
    chunks = [_track_bytes(events) for events in tracks]
    header = b"MThd" + b"".join(
        value.to_bytes(size, "big") for value, size in ((6, 4), (1, 2), (len(chunks), 2), (division, 2))
    )
    return header + b"".join(b"MTrk" + len(chunk).to_bytes(4, "big") + chunk for chunk in chunks)


def _track_bytes(events: Iterable[MidiFileEvent]) -> bytes:
    out, before = bytearray(), 0
    for event in events:
        gap = event.tick - before
        while gap > 0x0FFFFFFF:  # the longest possible (p. 2): an empty text event goes in between
            out += b"\xff\xff\xff\x7f\xff\x01\x00"
            gap -= 0x0FFFFFFF
        before = event.tick
        out += _quantity(gap) + _event_bytes(event)
    return bytes(out + b"\x00\xff\x2f\x00")


def _event_bytes(event: MidiFileEvent) -> bytes:
    body = event.message
    if event.meta >= 0:
        return bytes((META, event.meta)) + _quantity(len(body)) + body
    if body[0] < SYSEX:
        return body
    if body[0] == SYSEX:
        return bytes((SYSEX,)) + _quantity(len(body) - 1) + body[1:]
    return bytes((META, SPECIFIC)) + _quantity(len(OURS) + len(body)) + OURS + body


def _quantity(value: int) -> bytes:
    found = bytes((value & 0x7F,))
    while value := value >> 7:
        found = bytes((0x80 | value & 0x7F,)) + found
    return found
