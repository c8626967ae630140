"""An MPE performance of our own making, which no one has played: generated, and kept in tests/performances/mpe.mid.

`python -m tests.support.mpe_music` writes the file again, the same to the byte.
"""

import math
from collections.abc import Iterator
from io import BytesIO
from typing import Final

import mido

from tests.support.paths import ROOT

FILE: Final = ROOT / "tests" / "performances" / "mpe.mid"
MEMBERS: Final = range(2, 9)
BEND: Final = 48
_TICKS: Final = 480  # a beat, half a second
_STEP: Final = 12  # ticks between two positions of a finger
#: where each phrase begins (beats), its keys, how long they are held, and by how many semitones each finger glides
_PHRASES: Final = (
    (0, (60,), 3.5, (2.0,)),
    (4, (57, 64, 69), 3.5, (0.0, -1.0, 0.5)),
    (8, (55, 62, 67, 71), 6.0, (7.0, 0.0, -12.0, 0.25)),
    (12, (76,), 3.0, (-24.0,)),
    (16, (48, 55, 60, 64, 67), 4.0, (0.0, 0.31, -0.14, 0.2, 1.0)),
    (21, (72, 74), 2.0, (12.0, -5.0)),
)


def events() -> list[tuple[int, bytes]]:
    """Ticks and messages, in order: a configuration, then fingers that glide, press and tremble."""
    configuration = [(0, bytes((0xB0, number, value))) for number, value in ((101, 0), (100, 6), (6, len(MEMBERS)))]
    played = [each for place in range(len(_PHRASES)) for each in _phrase(place)]
    swell = [(beat * _TICKS, bytes((0xB0, 11, 60 + 2 * beat))) for beat in range(24)]
    return sorted([*configuration, *played, *swell], key=lambda each: each[0])


def _phrase(place: int) -> Iterator[tuple[int, bytes]]:
    begin, keys, length, glides = _PHRASES[place]
    for finger, (key, glide) in enumerate(zip(keys, glides, strict=True)):
        channel = MEMBERS[(place + finger) % len(MEMBERS)] - 1
        since = begin * _TICKS + finger * 7
        steps = int(length * _TICKS) // _STEP
        for step in range(steps):
            part, at = step / steps, since + step * _STEP
            tremble = 0.3 * math.sin(step / 3) * part
            yield at, _bend(channel, glide * part**2 + tremble)
            yield at, bytes((0xB0 | channel, 74, int(64 + 50 * math.sin(part * math.pi))))
            yield at, bytes((0xD0 | channel, int(110 * math.sin(part * math.pi))))
            if not step:
                yield at, bytes((0x90 | channel, key, 70 + 9 * finger))
        yield since + steps * _STEP, bytes((0x80 | channel, key, 50))


def _bend(channel: int, semitones: float) -> bytes:
    value = min(16383, round(8192 * semitones / BEND) + 8192)
    return bytes((0xE0 | channel, value & 0x7F, value >> 7))


def written() -> bytes:
    """The file."""
    track, before = mido.MidiTrack(), 0
    track.append(mido.MetaMessage("track_name", name="Generated MPE performance, not played by anybody"))
    for at, message in events():
        track.append(mido.Message.from_bytes(message, time=at - before))
        before = at
    made = BytesIO()
    mido.MidiFile(ticks_per_beat=_TICKS, tracks=[track]).save(file=made)
    return made.getvalue()


if __name__ == "__main__":
    FILE.write_bytes(written())
