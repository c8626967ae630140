"""A song from a Standard MIDI File: which input of a rig plays which message, and when."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

from engine.midi.midi_file import METER, TEMPO, MidiFile, MidiFileError, read_smf
from engine.offline.song_time import SongTime
from engine.rig.read.raw_data import no_such

_CAME_IN: Final = "in "  # prefix of the track names that `keep` writes
_WENT_OUT: Final = "out "  # prefix of tracks with the rig's own output, which are not played
_LONGEST: Final = 86_400_000_000_000  # ns, a day: every tick of the rig's clock costs time and memory


class Played(NamedTuple):
    """A message from a player: time (ns from the start), index of the input, message."""

    at: int
    source: int
    message: bytes


@dataclass(frozen=True)
class Song:
    """What is played, in order of time; `ends` in ns; `passed_over`: sentences about what is not played."""

    name: str
    meter: SongTime
    played: Sequence[Played]
    ends: int
    passed_over: Sequence[str] = ()


class SongError(Exception):
    """The song cannot be played; the text says why in one sentence."""


def read_song(path: Path, inputs: Sequence[str], wanted: Sequence[str]) -> Song:
    """The song in a file. `wanted`: "NAME" is the input for all tracks, "TRACK=NAME" for one, by name or number from 1.

    If nothing is wanted, a track goes to the input of its own name, with or without the "in " that `keep` writes; with
    a single input no names are needed. Raises SongError.
    """
    try:
        file = read_smf(path.read_bytes())
    except OSError as fault:
        raise SongError(f"{path} cannot be read: {fault.strerror}") from None
    except MidiFileError as fault:
        remedy = "; to replay a flight recording use --recording" if path.suffix == ".jsonl" else ""
        raise SongError(f"{path}: {fault}{remedy}") from None
    if file.format == 2:
        raise SongError(f"{path}: a file of format 2 holds patterns, not a song; save it as format 1")
    places = _places(file, inputs, wanted)
    meta = [e for track in file.tracks for e in track.events if e.meta in (TEMPO, METER)]
    meter = SongTime(file.division, sorted(meta, key=lambda event: event.tick))
    ends = max((meter.time(track.ends) for track in file.tracks), default=0)
    if ends > _LONGEST:
        raise SongError(f"{path} lasts {ends / _LONGEST:,.1f} days; a rehearsal takes at most one: cut the song")
    listed = [
        (event.tick, number, place, event.message)
        for number, (track, place) in enumerate(zip(file.tracks, places, strict=True))
        if place is not None
        for event in track.events
        if event.meta < 0
    ]
    listed.sort(key=lambda each: each[:2])  # simultaneous messages in the order of the tracks
    played = [Played(meter.time(tick), place, message) for tick, _, place, message in listed]
    return Song(path.name, meter, played, ends, [*file.complaints, *_left_out(file, places)])


def _places(file: MidiFile, inputs: Sequence[str], wanted: Sequence[str]) -> list[int | None]:
    """The index of each track's input; None for a track that is not played."""
    everything, some = _wishes(inputs, wanted)
    if not wanted:
        names = [track.name if track.name in inputs else track.name.removeprefix(_CAME_IN) for track in file.tracks]
        named = [inputs.index(name) if name in inputs else None for name in names]
        if any(place is not None for place in named):
            return named
        if len(inputs) != 1:
            raise SongError(f"say which input plays the song: --input NAME; the rig has {', '.join(inputs) or 'none'}")
        return [0] * len(file.tracks)
    found = [some.pop(track.name, everything) for track in file.tracks]
    for number in range(1, len(file.tracks) + 1):
        found[number - 1] = some.pop(str(number), found[number - 1])
    if some:
        there = ", ".join(f"{number} {track.name}".strip() for number, track in enumerate(file.tracks, 1))
        raise SongError(f'there is no track "{next(iter(some))}" in the song; it has {there}')
    return found


def _wishes(inputs: Sequence[str], wanted: Sequence[str]) -> tuple[int | None, dict[str, int]]:
    everything, some = None, {}
    for wish in wanted:
        track, equals, name = wish.rpartition("=")
        if wish in inputs and everything is not None:
            raise SongError("one input plays the whole song; for several give each its track: --input TRACK=NAME")
        if wish in inputs:
            everything = inputs.index(wish)
        elif equals and name in inputs:
            some[track] = inputs.index(name)
        else:
            raise SongError(no_such("input", name if equals else wish, inputs))
    return everything, some


def _left_out(file: MidiFile, places: Sequence[int | None]) -> list[str]:
    played = (track for track, place in zip(file.tracks, places, strict=True) if place is not None)
    kept = any(track.name.startswith(_CAME_IN) for track in played)
    silent = [
        f"track {number} {track.name}".strip()
        for number, (track, place) in enumerate(zip(file.tracks, places, strict=True), 1)
        if place is None
        and any(event.meta < 0 for event in track.events)
        and not (kept and track.name.startswith(_WENT_OUT))
    ]
    if not any(event.meta < 0 for track in file.tracks for event in track.events):
        return ["the song contains no messages"]
    return [f"no input plays {', '.join(silent)}; give it one with --input TRACK=NAME"] if silent else []


def by_input(song: Song, inputs: Sequence[str]) -> Mapping[str, int]:
    """The number of messages that each input plays."""
    counts = [0] * len(inputs)
    for each in song.played:
        counts[each.source] += 1
    return dict(zip(inputs, counts, strict=True))
