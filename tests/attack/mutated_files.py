"""Mutated rig files, sound lists, MIDI files and recordings: each is read as the command would, and used."""

import contextlib
import gzip
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

from engine.core.compiled import compile_rig
from engine.instruments import dump_files
from engine.instruments.dump_files import DumpFileError
from engine.midi.midi_file import MidiFileEvent, write_smf
from engine.offline.flight_recording import FlightRecordingError, read_recording
from engine.offline.replay import Replay
from engine.offline.song import SongError, read_song
from engine.rig.read.load import RigError, load
from engine.rig.read.sound_list import SoundListError, read_list
from engine.rig.sound_csv import from_csv
from tests.support import small_show, standby_world
from tests.support.mutator import Sample
from tests.support.paths import PRESETS, ROOT
from tests.support.plain_rig import RIG as PLAIN

_RECORDINGS = ROOT / "tests" / "recordings"
_LINES = 30  # of a recording, so that each mutation is played quickly


class _OneFile:
    """A folder with one file in it that is written again for each mutation."""

    def __init__(self, folder: str) -> None:
        self._folder = Path(folder)

    def of(self, data: bytes, name: str) -> Path:
        """The file, with these bytes."""
        file = self._folder / name
        file.write_bytes(data)
        return file


@contextlib.contextmanager
def _a_file() -> Iterator[_OneFile]:
    with tempfile.TemporaryDirectory(prefix="bl") as folder:
        yield _OneFile(folder)


class RigFiles:
    """Rig files are loaded and compiled."""

    def samples(self) -> list[Sample]:
        texts = [PLAIN, small_show.RIG, standby_world.RIG]
        texts += [file.read_text(encoding="utf-8") for file in (PRESETS / "rigs").glob("*.toml")]
        return [Sample("rig", text.encode()) for text in texts]

    @contextlib.contextmanager
    def taking(self) -> Iterator["RigFiles"]:
        with _a_file() as self._file:
            yield self

    def take(self, sample: Sample) -> None:
        try:
            rig = load(self._file.of(sample.data, "pit.toml"))
        except RigError as fault:
            str(fault).encode()
        else:
            compile_rig(rig)


class SoundLists:
    """Sound lists in both of their forms are read."""

    def samples(self) -> list[Sample]:
        short = (
            'format = 1\nname = "Box"\nprograms_from = 0\nsounds = [ { name = "Warm", program = 3, bank = [1, 2] } ]\n'
        )
        whole = (PRESETS / "sounds" / "general-midi.toml").read_text(encoding="utf-8")
        table = 'name,program,msb,lsb\n"Warm, wide",3,0,1\nThin,4,0,1\n'
        return [
            *(Sample("toml", text.encode()) for text in (short, short, "\n".join([*whole.splitlines()[:20], "]"]))),
            *(Sample("csv", text.encode()) for text in (table, "name;program\nWarm;3\n", "program\tname\n1\tWarm\n")),
        ]

    @contextlib.contextmanager
    def taking(self) -> Iterator["SoundLists"]:
        yield self

    def take(self, sample: Sample) -> None:
        text = sample.data.decode("utf-8", "surrogateescape")
        try:
            if sample.to == "toml":
                read_list(text, "list.toml")
            else:
                read_list(from_csv(text, "list.csv"), "list.csv")
        except SoundListError as fault:
            str(fault)


class MidiFiles:
    """Standard MIDI Files are read as songs and as dumps."""

    def samples(self) -> list[Sample]:
        notes = [
            MidiFileEvent(tick, bytes((0x90 | tick % 3, 60 + tick % 12, tick % 2 * 64))) for tick in range(0, 96, 3)
        ]
        tempo = [MidiFileEvent(0, b"\x07\xa1\x20", 0x51), MidiFileEvent(48, b"\x06\x00\x00", 0x51)]
        meter = [MidiFileEvent(0, b"\x04\x02\x18\x08", 0x58), MidiFileEvent(0, b"keys", 0x03)]
        dump = [MidiFileEvent(0, bytes.fromhex("F0 7D 01 02 03 F7")), MidiFileEvent(9, bytes.fromhex("F0 7D 05 F7"))]
        song = write_smf(96, [[*tempo[:1], *meter, *tempo[1:]], notes, notes[:4]])
        whole = (PRESETS / "demo.mid").read_bytes()
        return [Sample("song", song), Sample("dump", write_smf(480, [dump])), Sample("song", whole[:2000])]

    @contextlib.contextmanager
    def taking(self) -> Iterator["MidiFiles"]:
        with _a_file() as self._file:
            yield self

    def take(self, sample: Sample) -> None:
        file = self._file.of(sample.data, "song.mid")
        with contextlib.suppress(SongError):
            read_song(file, ["keys", "pads"], ["keys"])
        with contextlib.suppress(DumpFileError):
            dump_files.read(file)


class Recordings:
    """Flight recordings are read and replayed."""

    def samples(self) -> list[Sample]:
        listed = []
        for file in sorted(_RECORDINGS.glob("*.jsonl.gz")):
            if file.name.startswith(("hands", "standby")):  # of another rig
                continue
            head, *lines = gzip.decompress(file.read_bytes()).splitlines(keepends=True)
            did = [line for line in lines[4:] if b'"did"' in line and b'"rig' not in line and b'"tick"' not in line]
            listed.append(Sample("1", b"".join([head, *lines[:_LINES], *did[:_LINES]])))
        adopted = json.dumps(
            {"at": 1, "way": "did", "did": ["apply", "rig", {"text": small_show.RIG, "remote": []}, "file"]}
        )
        return [*listed, Sample("2", _IN_FORMAT_2.encode()), Sample("2", (_IN_FORMAT_2 + adopted).encode())]

    @contextlib.contextmanager
    def taking(self) -> Iterator["Recordings"]:
        self._text = (_RECORDINGS / "pit.toml").read_text(encoding="utf-8")
        self._rig = load(_RECORDINGS / "pit.toml")
        with _a_file() as self._file:
            yield self

    def take(self, sample: Sample) -> None:
        with contextlib.suppress(FlightRecordingError):
            recording = read_recording(self._file.of(sample.data, "night.jsonl"))
            Replay(self._rig, self._text, folder=_RECORDINGS).run(recording)


_IN_FORMAT_2 = """\
{"format": "bayleaf recording 2", "rig": "Pit", "kept": null, "begins": null, "monotonic": 1000, "scene": null}
{"at": 0.0, "clock": "", "way": "did", "did": ["start", {"strings": [320000, 0, 0], "brass": null}, ["brass"], []]}
{"at": 0.0, "clock": "", "way": "did", "did": ["apply", "scene", {"scene": 1}, "start"]}
{"at": 0.1, "clock": "", "way": "did", "did": ["apply", "next", {}, "shell"]}
{"at": 0.2, "clock": "", "way": "did", "did": ["tick"]}
{"at": 0.3, "clock": "", "way": "in", "port": "keys", "message": "90 3C 40"}
{"at": 0.3, "clock": "", "way": "out", "port": "strings", "message": "90 3C 40"}
{"at": 0.4, "clock": "", "way": "did", "did": ["gone", "strings", "80 3C 40"]}
{"at": 0.5, "clock": "", "way": "did", "did": ["closed", "strings"]}
{"at": 0.6, "clock": "", "way": "did", "did": ["apply", "mute", {"route": "layer"}, "shell"]}
{"at": 0.7, "clock": "", "way": "scene", "scene": 2, "text": "March"}
{"at": 0.8, "clock": "", "way": "told", "text": "all is well"}
"""
