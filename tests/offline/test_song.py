"""Standard MIDI Files: reading and writing them, finding times in them, and which input plays which track."""

import io
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.midi_file import OURS, SPECIFIC, MidiFileError, MidiFileEvent, read_smf, write_smf
from engine.offline.performance_comparison import said_in
from engine.offline.song import SongError, read_song
from engine.offline.song_time import SongTime

S = 1_000_000_000
seven = st.integers(0, 127)
channel_messages = st.one_of(
    st.builds(lambda status, a, b: bytes((status, a, b)), st.integers(0x80, 0xBF), seven, seven),
    st.builds(lambda status, a: bytes((status, a)), st.integers(0xC0, 0xDF), seven),
    st.builds(lambda status, a, b: bytes((status, a, b)), st.integers(0xE0, 0xEF), seven, seven),
    st.builds(lambda body: bytes((0xF0, *body, 0xF7)), st.lists(seven, max_size=200)),
)
gaps = st.one_of(st.integers(0, 3), st.integers(0, 1 << 22))


def file_of(body: bytes, division: bytes = b"\x01\xe0", form: int = 0) -> bytes:
    """A file of one track with these bytes."""
    return b"MThd\0\0\0\6\0" + bytes((form,)) + b"\0\1" + division + b"MTrk" + len(body).to_bytes(4, "big") + body


@given(st.lists(st.tuples(gaps, channel_messages), max_size=60), st.integers(1, 32767))
def test_what_mido_writes_is_read_alike(played: list[tuple[int, bytes]], division: int) -> None:
    """Messages that mido writes, with its running status, are read with their times (RP-001)."""
    made = mido.MidiFile(ticks_per_beat=division)
    made.tracks.append(mido.MidiTrack([mido.Message.from_bytes(message, time=gap) for gap, message in played]))
    out = io.BytesIO()
    made.save(file=out)
    tick, expected = 0, []
    for gap, message in played:
        tick += gap
        expected.append(MidiFileEvent(tick, message))
    (track,) = read_smf(out.getvalue()).tracks
    assert [event for event in track.events if event.meta < 0] == expected


@given(st.lists(st.tuples(gaps, channel_messages), max_size=60))
def test_what_we_write_mido_reads_alike(played: list[tuple[int, bytes]]) -> None:
    """mido reads our files message for message and tick for tick."""
    tick, events = 0, []
    for gap, message in played:
        tick += gap
        events.append(MidiFileEvent(tick, message))
    data = write_smf(480, [events])
    found, tick = [], 0
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[0]:
        tick += message.time
        if not message.is_meta:
            found.append(MidiFileEvent(tick, bytes(message.bytes())))
    assert found == events
    assert [event for event in read_smf(data).tracks[0].events if event.meta < 0] == events


@given(st.binary(max_size=300))
def test_no_bytes_make_it_stumble(data: bytes) -> None:
    """Whatever a file holds, it is read as far as possible or rejected with an error; every message is complete."""
    for content in (data, file_of(data), b"MThd" + data):
        try:
            file = read_smf(content)
        except MidiFileError:
            continue
        for track in file.tracks:
            assert all(event.message[0] >= 0x80 for event in track.events if event.meta < 0)


def test_escapes_and_system_exclusives_in_pieces() -> None:
    """F7 carries any bytes: a clock, or the rest of a SysEx that F0 began (RP-001 p. 6, "sysex event")."""
    body = bytes.fromhex("00 F7 01 F8  10 F0 03 7D 01 02  05 F7 02 03 F7  00 F7 02 F1 23  00 FF 2F 00")
    (track,) = read_smf(file_of(body)).tracks
    assert [event[:2] for event in track.events if event.meta < 0] == [
        (0, b"\xf8"),
        (0x15, bytes.fromhex("F0 7D 01 02 03 F7")),
        (0x15, b"\xf1\x23"),
    ]


def test_system_messages_survive_in_our_files() -> None:
    """Clock and similar messages are written so that mido skips them and we read them back."""
    data = write_smf(480, [[MidiFileEvent(0, b"\xfa"), MidiFileEvent(7, b"\xf8"), MidiFileEvent(7, b"\xf2\x01\x02")]])
    assert [(said.message) for said in said_in(data)] == [b"\xfa", b"\xf8", b"\xf2\x01\x02"]
    kinds = [message.type for message in mido.MidiFile(file=io.BytesIO(data)).tracks[0]]
    assert kinds == ["sequencer_specific"] * 3 + ["end_of_track"]
    foreign = write_smf(480, [[MidiFileEvent(0, b"\x41" + OURS, SPECIFIC)]])
    assert said_in(foreign) == []


def test_a_cut_file_is_read_as_far_as_it_goes() -> None:
    """A file that ends in the middle plays the complete part and reports that it was cut."""
    body = bytes.fromhex("00 90 3C 40  10 90 3C 00  00 FF 2F 00")
    file = read_smf(file_of(body)[:-6])
    assert [event.message for event in file.tracks[0].events] == [b"\x90\x3c\x40"]
    assert file.complaints == ["track 1 ends in the middle of an event", "track 1 is cut short"]


@pytest.mark.parametrize(
    ("division", "seconds"),
    [(b"\x01\xe0", 0.5), (b"\xe7\x28", 0.48), (b"\xe8\x14", 1.0)],
    ids=["480 a beat at 120", "25 frames of 40", "24 frames of 20"],
)
def test_ticks_are_times(division: bytes, seconds: float) -> None:
    """Ticks per beat follow the tempo, 120 by default; ticks per frame do not (RP-001 pp. 4, 8)."""
    file = read_smf(file_of(b"\x00\xff\x2f\x00", division))
    assert SongTime(file.division).time(480) == seconds * S


@given(
    st.lists(st.tuples(st.integers(0, 5000), st.integers(100_000, 3_000_000)), max_size=8),
    st.integers(24, 960),
    st.integers(0, 600 * S),
)
def test_time_and_tick_are_two_sides(tempos: list[tuple[int, int]], division: int, ns: int) -> None:
    """A time lies between the times of its tick and the next tick, whatever the tempo does."""
    events = [MidiFileEvent(tick, tempo.to_bytes(3, "big"), 0x51) for tick, tempo in sorted(tempos)]
    meter = SongTime(division, events)
    tick = meter.tick(ns)
    assert meter.time(int(tick)) <= ns + 1 <= meter.time(int(tick) + 1) + 2
    assert [meter.time(each) for each in range(0, 5000, 97)] == sorted(meter.time(each) for each in range(0, 5000, 97))


def test_bars_and_beats_follow_the_metre() -> None:
    """Two bars of three quarters, then six eighths: bar 3 beat 4 is 1.5 quarters after the ninth (common practice)."""
    meter = SongTime(
        480, [MidiFileEvent(0, bytes((3, 2, 24, 8)), 0x58), MidiFileEvent(6 * 480, bytes((6, 3, 24, 8)), 0x58)]
    )
    assert meter.words(0) == "0:00.000, bar 1:1"
    assert meter.words(round(2.5 * S)) == "0:02.500, bar 2:3"
    assert meter.words(round(3.75 * S)) == "0:03.750, bar 3:4"


def test_a_song_of_patterns_is_refused(tmp_path: Path) -> None:
    """Format 2 holds independent patterns (RP-001 p. 3), which do not make a song."""
    file = tmp_path / "a.mid"
    file.write_bytes(file_of(b"\x00\xff\x2f\x00", form=2))
    with pytest.raises(SongError, match="format 2"):
        read_song(file, ["keys"], [])


@pytest.mark.parametrize(("seconds", "taken"), [(86_400, True), (86_401, False)])
def test_a_song_lasts_a_day_at_most(tmp_path: Path, seconds: int, taken: bool) -> None:
    """A file of a few bytes can last for years, and each tick of the rig's clock in it would be played: a song that
    lasts longer than a day is refused."""
    file = tmp_path / "a.mid"
    # 1,000 ticks a beat at 120 beats per minute (RP-001 p. 8, without a tempo): 2,000 ticks a second
    file.write_bytes(write_smf(1000, [[MidiFileEvent(seconds * 2000, b"\x90\x3c\x40")]]))
    if taken:
        assert read_song(file, ["keys"], []).ends == seconds * S
    else:
        with pytest.raises(SongError, match=r"lasts 1\.0 days; a rehearsal takes at most one: cut the song"):
            read_song(file, ["keys"], [])


def test_tracks_come_in_order_at_one_time(tmp_path: Path) -> None:
    """Events of several tracks at one time come in track order, each track in its own order."""
    file = tmp_path / "a.mid"
    first, second = (
        [MidiFileEvent(0, bytes((0xC0 | n, 1))), MidiFileEvent(0, bytes((0x90 | n, 60, 1)))] for n in (0, 1)
    )
    file.write_bytes(write_smf(480, [first, second]))
    song = read_song(file, ["keys", "pads"], ["keys", "2=pads"])
    assert [(each.source, each.message[0]) for each in song.played] == [(0, 0xC0), (0, 0x90), (1, 0xC1), (1, 0x91)]


def test_what_keep_wrote_is_played_by_its_inputs(tmp_path: Path) -> None:
    """Tracks named "in NAME", as written by `bayleaf keep`, are played by those inputs; the tracks of outputs are
    silently left out."""
    made = mido.MidiFile()
    note = mido.Message("note_on", note=60, velocity=64)
    for name in ("Pit", "in keys", "in pads", "out strings"):
        made.tracks.append(
            mido.MidiTrack([mido.MetaMessage("track_name", name=name), note][: 1 if name == "Pit" else 2])
        )
    made.save(tmp_path / "mishap.mid")
    found = read_song(tmp_path / "mishap.mid", ["pads", "keys"], [])
    assert [each.source for each in found.played] == [1, 0]
    assert found.passed_over == []
    made.tracks[1:3] = [mido.MidiTrack([mido.MetaMessage("track_name", name="keys"), note])]
    made.save(tmp_path / "other.mid")
    assert (
        "no input plays track 3 out strings" in read_song(tmp_path / "other.mid", ["pads", "keys"], []).passed_over[0]
    )


def test_a_song_without_a_message_is_reported(tmp_path: Path) -> None:
    """A file that contains only tempo and names plays nothing, and this is reported."""
    file = tmp_path / "a.mid"
    file.write_bytes(file_of(b"\0\xff\x51\x03\x07\xa1\x20\0\xff\x2f\0"))
    assert read_song(file, ["keys"], []).passed_over == ["the song contains no messages"]
