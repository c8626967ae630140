"""Real music whose notes own their gestures: the 31 songs of openttd-openmsx through scenes that change under them.

Pedals, bends, wheels and recalls are added at random, from the seed that is printed; each note is judged as in
`test_gesture_promises`.
"""

import random
from typing import Final

import pytest

from tests.support.audible_receiver import BEND, PRESSURE, message_of
from tests.support.judged_engine import MS, JudgedEngine
from tests.support.plain_connections import Connection, PlainShow
from tests.support.songs import SONGS, song

pytestmark = pytest.mark.slow

_SEED: Final = 20
_LENGTH: Final = 10_000 * MS  # of each song: its beginning
_CHANNELS: Final = range(16)


def _straight(name: str, output: int, semitones: int = 0, stopped: tuple[str, ...] = ()) -> tuple[Connection, ...]:
    return tuple(Connection(f"{name} {ch}", (0, ch), (output, ch), semitones, stopped=stopped) for ch in _CHANNELS)


#: everything to one output; to the other, transposed; on the first again, each channel on that of another, without
#: bends and sustain pedal; half of the channels
SHOW: Final = PlainShow(
    (),
    (
        _straight("one", 0),
        _straight("two", 1, 12),
        tuple(
            Connection(f"three {ch}", (0, ch), (0, (ch + 1) % 16), stopped=("pitch_bend", "controller 64"))
            for ch in _CHANNELS
        ),
        _straight("four", 0)[::2],
    ),
)
_ADDED: Final = (BEND, BEND, PRESSURE, *((0xB0, number) for number in (1, 7, 11, 64, 64, 64, 66, 74)))


def _add(judged: JudgedEngine, chance: random.Random, channels: list[int]) -> None:
    """A pedal, a bend or a wheel of one of the song's channels."""
    part, channel = chance.choice(_ADDED), chance.choice(channels)
    value = chance.choice((0, 0x2000, 0x3FFF)) if part == BEND else chance.choice((0, 40, 100, 127))
    judged.play(0, message_of(part, channel, value))


@pytest.mark.parametrize("number", SONGS)
def test_every_note_of_a_song_sounds_as_it_is_played(number: int) -> None:
    """Through scene changes every second or so, each note follows the channel that plays it; at the end all rests."""
    seed = _SEED + number
    print(f"seed {seed}")
    chance, judged = random.Random(seed), JudgedEngine(SHOW)
    played = [(at, message) for at, message in song(number) if message[0] < 0xF0 and at < _LENGTH]
    channels = sorted({message[0] & 0x0F for _, message in played})
    changes_at = 0
    for at, message in played:
        judged.wait(max(0, at - judged.now))
        judged.play(0, message)
        if chance.random() < 0.1:
            _add(judged, chance, channels)
        if judged.now >= changes_at:
            judged.recall(chance.randrange(len(SHOW.scenes)) + 1)
            changes_at = judged.now + chance.randrange(100, 2000) * MS
    judged.hands_off()
    judged.wait(1000 * MS)
    judged.check_rest()
