"""Real music into one DIN output: the 31 songs of openttd-openmsx, against figures computed without this program.

The rows of `reference/dataset.json` are for a plain first-in first-out queue at 320 µs a byte, from a message's arrival
to the end of its last byte; meta events are left out, times follow the tempo map exactly.
"""

from collections import Counter, deque
from typing import NamedTuple

import pytest

from engine.core.cable.output_cable import Delivery
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN, DIN_RUNNING, CableSpeed
from engine.midi.kinds import kind_of
from engine.midi.midi_file import read_smf
from tests.support.check_values import check_value
from tests.support.songs import SONGS, Song, song, song_file

BYTE = 320_000  # ns (MIDI 1.0 p. 1)
MS = 1_000_000


def read_from(number: int) -> list[bytes]:
    """The messages of a song as our own reader of files finds them."""
    tracks = read_smf(song_file(number).read_bytes()).tracks
    return [event.message for track in tracks for event in track.events if event.meta < 0]


def sizes(messages: list[bytes], running: bool) -> list[int]:
    """Bytes of each message on the cable (MIDI 1.0 p. A-1)."""
    status, found = 0, []
    for message in messages:
        found.append(len(message) - (running and message[0] == status))
        status = message[0] if message[0] < 0xF0 else 0
    return found


class Queue(NamedTuple):
    """What a plain first-in first-out queue makes of a song: how long each message takes, in ns, and all its bytes."""

    took: list[int]
    bytes: int


def first_in_first_out(played: Song, running: bool) -> Queue:
    free_at, took = 0, []
    costs = sizes([message for _, message in played], running)
    for (at, _), size in zip(played, costs, strict=True):
        free_at = max(free_at, at) + size * BYTE
        took.append(free_at - at)
    return Queue(took, sum(costs))


def on_our_wire(played: Song, speed: CableSpeed) -> tuple[list[Delivery], Cable]:
    cable = Cable(0, speed)
    out: list[Delivery] = []
    for at, message in played:
        while cable.due is not None and cable.due <= at:
            cable.flush(cable.due, out)
        cable.put(at, (message,), out)
    while cable.due is not None:
        cable.flush(cable.due, out)
    return out, cable


def is_note(message: bytes) -> bool:
    return message[0] & 0xE0 == 0x80


def note_times(played: Song, out: list[Delivery], running: bool) -> list[int]:
    """How long each note-on and note-off took from its arrival to its last byte; they keep their order."""
    came = deque(at for at, message in played if is_note(message))
    costs = sizes([message for _, message, _ in out], running)
    return [
        sent + size * BYTE - came.popleft()
        for (_, message, sent), size in zip(out, costs, strict=True)
        if is_note(message)
    ]


@pytest.mark.parametrize("number", SONGS)
def test_a_plain_queue_gives_the_figures_of_the_reference(number: int) -> None:
    """In a plain queue the songs have the reference's byte counts and worst waits (data-openmsx-files)."""
    row, played = SONGS[number], song(number)
    assert len(played) == row["messages"]
    for running, suffix in ((False, ""), (True, "_rs")):
        queue = first_in_first_out(played, running)
        assert queue.bytes == row[f"bytes{suffix}"]
        assert max(queue.took) / MS == pytest.approx(row[f"din_worst_ms{suffix}"], abs=0.0011)


@pytest.mark.parametrize("speed", [DIN, DIN_RUNNING], ids=["plain", "running status"])
@pytest.mark.parametrize("number", SONGS)
def test_our_wire_loses_nothing_and_makes_no_note_later(number: int, speed: CableSpeed) -> None:
    """Every note arrives, in order; only values replaced by newer ones are missing; no note ends more than 3 ms and one
    message later than in a plain queue, and the longest wait is no longer."""
    played = song(number)
    out, cable = on_our_wire(played, speed)
    messages = [message for _, message, _ in out]
    assert [m for m in messages if is_note(m)] == [m for _, m in played if is_note(m)]
    assert len(messages) + cable.counts.replaced == len(played)
    assert cable.counts.shed == 0
    queue = first_in_first_out(played, speed.running_status)
    if not cable.counts.replaced and not speed.running_status:
        assert sum(map(len, messages)) == queue.bytes
    before = [took for (_, message), took in zip(played, queue.took, strict=True) if is_note(message)]
    ours = note_times(played, out, speed.running_status)
    assert all(took <= plain + speed.ahead_ns + 3 * BYTE for took, plain in zip(ours, before, strict=True))
    assert max(ours) <= max(before) + (0 if not speed.running_status else 3 * BYTE)


@pytest.mark.parametrize("speed", [DIN, DIN_RUNNING], ids=["plain", "running status"])
def test_the_set_as_a_whole(speed: CableSpeed) -> None:
    """All 31 songs: 173,838 messages, and the hardest song is the one that the reference names."""
    running = speed.running_status
    worst = {number: max(first_in_first_out(song(number), running).took) for number in SONGS}
    assert len(SONGS) == check_value("data-openmsx-count").expected["files"]
    assert sum(len(song(number)) for number in SONGS) == check_value("data-openmsx-count").expected["messages"]
    kinds = Counter(kind_of(message).name for number in SONGS for message in read_from(number))
    standard = {"controller": "control_change", "pitch_bend": "pitchwheel", "program": "program_change"}
    assert {standard.get(name, name): count for name, count in kinds.items()} == check_value(
        "data-openmsx-types"
    ).expected
    total = sum(first_in_first_out(song(number), running).bytes for number in SONGS)
    assert total == check_value("data-openmsx-bytes").expected["running_status" if running else "plain"]
    hardest = check_value("data-openmsx-peaks").expected["din_worst"]
    if not running:  # with running status another song is harder, as its row says
        assert max(worst, key=lambda number: worst[number]) == hardest["song"]
    assert worst[hardest["song"]] / MS == pytest.approx(hardest["ms_rs" if running else "ms"], abs=0.0011)
