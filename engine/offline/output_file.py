"""What an output was sent, as a Standard MIDI File in the bars of the song."""

from collections.abc import Sequence

from engine.midi.midi_file import TRACK_NAME, MidiFileEvent, write_smf
from engine.offline.song_time import SongTime
from engine.offline.timed_cable import SentByCable


def output_file(name: str, meter: SongTime, sent: Sequence[SentByCable]) -> bytes:
    """The file; each message is at the time of its first byte on the cable, to about 30 µs."""
    division, head = meter.for_file()
    finer = division // meter.division
    title = MidiFileEvent(0, name.encode("utf-8", "backslashreplace"), TRACK_NAME)
    events = [MidiFileEvent(round(max(meter.tick(each.start), 0) * finer), each.message) for each in sent]
    return write_smf(division, [[*head], [title, *events]])
