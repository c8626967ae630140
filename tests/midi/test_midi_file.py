"""Standard MIDI Files against the standard's own tables and example files (RP-001; source of each: tests/reference)."""

from pathlib import Path

import pytest

from engine.midi.kinds import is_press, is_release
from engine.midi.midi_file import END_OF_TRACK, METER, TEMPO, MidiFile, MidiFileEvent, read_smf, write_smf
from engine.offline.song import read_song
from engine.offline.song_time import SongTime
from tests.support.check_values import CheckValue, check_value, check_values

S = 1_000_000_000
NOTE = b"\x90\x3c\x40"
END = b"\x00\xff\x2f\x00"


def chunk(kind: bytes, body: bytes) -> bytes:
    return kind + len(body).to_bytes(4, "big") + body


def file_of(body: bytes, division: bytes = b"\x00\x60") -> MidiFile:
    """A file of one track with these bytes, as we read it."""
    return read_smf(chunk(b"MThd", b"\0\0\0\1" + division) + chunk(b"MTrk", body))


def clock_of(file: MidiFile) -> SongTime:
    metas = [event for track in file.tracks for event in track.events if event.meta in (TEMPO, METER)]
    return SongTime(file.division, metas)


def notes_of(file: MidiFile) -> list[list[int]]:
    """Channel from 1, key, velocity, first and last tick of each note, by where it begins."""
    notes, sounding = [], {}
    for track in file.tracks:
        for tick, message, meta in track.events:
            key = (message[0] & 0x0F, message[1]) if meta < 0 else None
            if key and is_press(message):
                sounding[key] = [key[0] + 1, key[1], message[2], tick]
            elif key and is_release(message):
                notes.append([*sounding.pop(key), tick])
    assert not sounding
    return sorted(notes, key=lambda note: (note[3], -note[0], note[1]))


@pytest.mark.parametrize("entry", check_values("smf-vlq-"), ids=lambda entry: entry.id)
def test_quantities(entry: CheckValue) -> None:
    """Times are written and read as in the table of p. 2."""
    written = bytes.fromhex(entry.expected)
    data = write_smf(96, [[MidiFileEvent(entry.input["value"], NOTE)]])
    assert data.endswith(chunk(b"MTrk", written + NOTE + END))
    (track,) = file_of(written + NOTE + END).tracks
    assert track.events[0] == MidiFileEvent(entry.input["value"], NOTE)


def test_the_example_of_one_track() -> None:
    """The file of p. 12: its head, its notes, its programs and how long it lasts."""
    entry = check_value("smf-example-0")
    data, said = bytes.fromhex(entry.input), entry.expected
    file = read_smf(data)
    assert (len(data), file.format, len(file.tracks), file.division) == (
        said["bytes"],
        said["format"],
        said["tracks"],
        said["division"],
    )
    assert file.complaints == []
    columns = check_value("smf-notes-columns").expected
    assert columns == ["channel", "note", "velocity", "start", "end"]
    assert notes_of(file) == said["notes"]
    programs = [event.message for event in file.tracks[0].events if event.meta < 0 and event.message[0] & 0xF0 == 0xC0]
    assert {str((message[0] & 0x0F) + 1): message[1] for message in programs} == said["programs"]
    assert clock_of(file).time(file.tracks[0].ends) / S == said["length_s"]


def test_the_example_of_four_tracks() -> None:
    """The file of p. 13 has the same music in four tracks, with running status and releases of velocity 0."""
    entry, other = check_value("smf-example-1"), check_value("smf-example-0")
    data, said = bytes.fromhex(entry.input), entry.expected
    file = read_smf(data)
    assert (len(data), file.format, len(file.tracks), file.division) == (
        said["bytes"],
        said["format"],
        said["tracks"],
        said["division"],
    )
    assert file.complaints == []
    assert notes_of(file) == other.expected["notes"]
    assert clock_of(file).time(max(track.ends for track in file.tracks)) / S == said["length_s"]
    place = 14
    for length, track in zip(said["track_chunk_lengths"], file.tracks, strict=True):
        (alone,) = read_smf(data[:14] + data[place : place + 8 + length]).tracks
        assert alone == track
        place += 8 + length


def test_what_we_write_of_the_examples_is_the_same_music() -> None:
    """The head that we write is the one of p. 4 and 13, and what we write of the example reads back as it was."""
    head, entry = check_value("smf-header"), check_value("smf-example-1")
    file = read_smf(bytes.fromhex(entry.input))
    written = write_smf(
        head.input["division"], [[e for e in track.events if e.meta != END_OF_TRACK] for track in file.tracks]
    )
    assert written.startswith(bytes.fromhex(head.expected))
    assert notes_of(read_smf(written)) == notes_of(file)


def test_chunks_of_other_kinds_are_skipped() -> None:
    """Six bytes of an unknown kind take fourteen, head included; the track behind them is found (p. 3)."""
    entry = check_value("smf-chunk-size")
    unknown = (b"XFIH" + entry.input["length"].to_bytes(4, "big")).ljust(entry.expected, b"\x55")
    data = bytes.fromhex(check_value("smf-example-0").input)
    assert read_smf(data[:14] + unknown + data[14:]) == read_smf(data)


@pytest.mark.parametrize("name", ["smf-division-smpte-30-80", "smf-division-ms"])
def test_divisions_of_a_second(name: str) -> None:
    """Frames per second and ticks per frame: 2,400 ticks per second, or a thousand (p. 4)."""
    entry = check_value(name)
    file = file_of(NOTE + END, bytes.fromhex(entry.expected))
    ticks = entry.input["fps"] * entry.input["units"]
    assert file.division == -ticks
    assert clock_of(file).time(ticks) == S


def test_ticks_become_time() -> None:
    """6,144 ticks of 96 per beat at the tempo of 120 are 32 seconds (p. 14)."""
    entry = check_value("smf-time-example")
    tempo = MidiFileEvent(0, entry.input["tempo"].to_bytes(3, "big"), TEMPO)
    assert SongTime(entry.input["division"], [tempo]).time(entry.input["ticks"]) == entry.expected["ms"] * 1_000_000


def test_tempo() -> None:
    """120 beats per minute are half a second per beat, and what a file without a tempo has (p. 8, 14)."""
    entry = check_value("tempo-smf-120")
    micros = entry.expected["us_per_quarter"]
    event = MidiFileEvent(0, micros.to_bytes(3, "big"), TEMPO)
    assert bytes.fromhex(entry.expected["bytes"]) in write_smf(96, [[event]])
    assert SongTime(96, [event]).time(96 * entry.input["bpm"]) == 60 * S
    assert SongTime(96).time(96) == check_value("smf-default-tempo").expected * 1000


def test_a_sysex_in_packets_is_one_message() -> None:
    """The example of p. 7: three packets at their times are one message, complete with the last."""
    entry = check_value("smf-sysex-packets")
    (track,) = file_of(b"\0" + bytes.fromhex(" ".join(entry.input)) + END).tracks
    (message,) = [event for event in track.events if event.meta < 0]
    assert message == MidiFileEvent(sum(entry.expected["delays_ticks"]), bytes.fromhex(entry.expected["wire"]))


def test_meta_events_end_running_status() -> None:
    """After a meta event a status must come first (p. 6): data without one is no note."""
    file = file_of(bytes.fromhex("00 90 3C 40 00 FF 01 00 00 3C 00 00 FF 2F 00"))
    assert [event.message for event in file.tracks[0].events if event.meta < 0] == [NOTE]
    assert file.complaints == ["track 1 ends in the middle of an event"]


def test_meta_events_are_not_played(tmp_path: Path) -> None:
    """Tempo, metre and end of track reach no input: FF in a file is not System Reset (p. 7)."""
    file = tmp_path / "song.mid"
    file.write_bytes(bytes.fromhex(check_value("smf-example-0").input))
    played = [each.message for each in read_song(file, ["keys"], []).played]
    assert len(played) == 11
    assert all(message[0] < 0xF0 for message in played) is check_value("smf-meta").expected
