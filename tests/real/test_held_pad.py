"""A pad that is held through scene changes, as FluidSynth renders it to a file."""

import math
import subprocess
import wave
from array import array
from itertools import zip_longest
from pathlib import Path
from typing import Final

import mido

from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall
from tests.support.fluidsynth import SOUNDS
from tests.support.needed import need

MS = 1_000_000
_RATE: Final = 44_100
_WINDOW: Final = _RATE // 20  # 50 ms
#: of full scale: below it nothing is heard
_SILENCE: Final = 10 ** (-60 / 20)
_STEP: Final = 1.0  # dB

#: the pad, its neighbour on the same channel with other filters, another player there, and scenes without it
RIG: Final = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
synth = { port = "c" }
[instruments.pad]
output = "synth"
channel = 1
sounds = { "Pad" = { program = 90 } }
[instruments.organ]
output = "synth"
channel = 2
sounds = { "Organ" = { program = 17 } }
[[scenes]]
number = 1
name = "Pad"
routes = [ { from = "keys", to = "synth" } ]
burst = [ { instrument = "pad", sound = "Pad" } ]
[[scenes]]
number = 2
name = "Organ"
routes = [ { from = "keys", to = "synth", through = [ { filter = "channels", map = { 1 = 2 } } ] } ]
burst = [ { instrument = "organ", sound = "Organ" } ]
[[scenes]]
number = 3
name = "Pad from the pads"
routes = [ { from = "pads", to = "synth" } ]
burst = [ { instrument = "pad", sound = "Pad" } ]
[[scenes]]
number = 4
name = "Pad without wheels"
routes = [ { from = "keys", to = "synth", through = [
  { filter = "strip", kinds = ["pitch_bend", "controller 1", "controller 11", "controller 64"] },
] } ]
burst = [ { instrument = "pad", sound = "Pad" } ]
[[scenes]]
number = 5
name = "Nobody"
"""
#: s, input, message: the pedals and wheels stand, a chord is pressed; the keys go up under the pedal, which goes last
PLAYED: Final = (
    (0.0, 1, "B0 0B 7F"),
    (0.0, 1, "E0 00 40"),
    (0.1, 0, "B0 0B 14"),
    (0.1, 0, "B0 07 50"),
    (0.1, 0, "E0 00 50"),
    (0.2, 0, "B0 40 7F"),
    (0.5, 0, "90 3C 60"),
    (0.5, 0, "90 43 60"),
    (4.1, 0, "B0 0B 20"),
    (5.3, 0, "80 3C 40"),
    (5.3, 0, "80 43 40"),
    (9.3, 0, "E0 00 40"),
    (11.5, 0, "B0 40 00"),
)
_END: Final = 13.0
#: twenty, every half second, the last one back to the first scene
RECALLS: Final = tuple((1.0 + 0.5 * place, (place + 1) % 5 + 1) for place in range(20))


def _sent(recalls: tuple[tuple[float, int], ...]) -> list[tuple[float, bytes]]:
    """What the engine sends: seconds, message."""
    engine = engine_of(read(RIG, "pad"))
    deeds: list[tuple[float, int | None, bytes | int]] = [
        *((at, source, bytes.fromhex(message)) for at, source, message in PLAYED),
        *((at, None, scene) for at, scene in recalls),
        (_END, 1, b"\xb0\x50\x00"),
    ]
    out = [(0.0, message) for _, message, _ in recall(engine, 0, 1)]
    for at, source, what in sorted(deeds, key=lambda deed: deed[0]):
        now = round(at * 1000) * MS
        while (due := engine.due) is not None and due <= now:
            out += [(due / 1e9, message) for _, message, _ in engine.tick(due)]
        given = engine.receive(now, source, what) if isinstance(what, bytes) and source is not None else []
        given = recall(engine, now, what) if isinstance(what, int) else given
        out += [(at, message) for _, message, _ in given]
    return out


def _rendered(sent: list[tuple[float, bytes]], folder: Path, name: str) -> list[float]:
    """The level of each window of what FluidSynth makes of this, without its effects (which come in at random)."""
    file, sound = folder / f"{name}.mid", folder / f"{name}.wav"
    track = mido.MidiTrack()
    last = 0
    for at, message in sent:
        tick = round(at * 1000)
        track.append(mido.Message.from_bytes(message, time=tick - last))
        last = tick
    mido.MidiFile(ticks_per_beat=500, tracks=[track]).save(file)  # at 120 bpm a tick is 1 ms
    command = ["fluidsynth", "-n", "-i", "-q", "-R", "0", "-C", "0", "-g", "1", "-r", str(_RATE), "-F", str(sound)]
    subprocess.run([*command, str(SOUNDS), str(file)], check=True, capture_output=True, timeout=120)
    with wave.open(str(sound)) as rendered:
        assert (rendered.getnchannels(), rendered.getsampwidth()) == (2, 2)
        samples = array("h", rendered.readframes(rendered.getnframes()))
    width = 2 * _WINDOW
    windows = [samples[at : at + width] for at in range(0, len(samples), width)]
    return [math.sqrt(math.fsum(each * each for each in window) / len(window)) / 32768 for window in windows]


def test_a_held_pad_has_no_step_in_level(tmp_path: Path) -> None:
    """A chord that is held by keys and then by the pedal sounds on across twenty recalls: no 50 ms of it are more than
    1 dB louder or softer than of the same chord without recalls."""
    need("fluidsynth")
    need(SOUNDS)
    alone = _rendered(_sent(()), tmp_path, "alone")
    recalled = _rendered(_sent(RECALLS), tmp_path, "recalled")
    heard = [place for place, level in enumerate(alone) if level > _SILENCE]
    assert len(heard) > 20 * (11 - 1), "the pad sounds for eleven seconds"
    steps = {
        place / 20: round(20 * math.log10(max(other, 1e-9) / max(level, 1e-9)), 2)
        for place, (level, other) in enumerate(zip_longest(alone, recalled, fillvalue=0.0))
        if max(level, other) > _SILENCE
    }
    assert {at: step for at, step in steps.items() if abs(step) > _STEP} == {}
