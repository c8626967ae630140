"""Real music whose notes own their gestures: the 31 songs of openttd-openmsx through scenes that change under them.

Another part of each song is played each time. Pedals, bends, wheels and recalls are added at random, from the seed that
is printed; BAYLEAF_SEED makes it again, and BAYLEAF_SONGS=whole plays the songs to their ends. Each note is judged as
in `test_gesture_promises`, and a takeover as in `test_gesture_takeover_promises`.
"""

import os
import random
from collections.abc import Iterator
from typing import Final, Protocol

import pytest

from tests.support.audible_receiver import BEND, PRESSURE, message_of
from tests.support.engine_pair import EnginePair
from tests.support.judged_engine import MS, JudgedEngine
from tests.support.plain_connections import Connection, PlainShow
from tests.support.songs import SONGS, song

pytestmark = pytest.mark.slow

_SEED: Final = int(os.environ.get("BAYLEAF_SEED") or random.SystemRandom().randrange(1 << 32))
_WHOLE: Final = os.environ.get("BAYLEAF_SONGS") == "whole"
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


class _Player(Protocol):
    def play(self, source: int, message: bytes) -> None: ...

    def recall(self, scene: int) -> None: ...

    def wait(self, length: int) -> None: ...


def _added(chance: random.Random, channel: int) -> bytes:
    """A pedal, a bend or a wheel of a channel."""
    part = chance.choice(_ADDED)
    return message_of(part, channel, chance.choice((0, 0x2000, 0x3FFF) if part == BEND else (0, 40, 100, 127)))


def _performance(number: int, chance: random.Random, length: int) -> list[tuple[int, bytes | int]]:
    """So many messages of a song from a place by chance, with more among them, or scenes; each after so many ns."""

    def made() -> Iterator[tuple[int, bytes | int]]:
        now = changes_at = played[0][0]
        for at, message in played:
            yield at - now, message
            now = at
            if chance.random() < 0.1:
                yield 0, _added(chance, chance.choice(channels))
            if at >= changes_at:
                yield 0, chance.randrange(len(SHOW.scenes)) + 1
                changes_at = at + chance.randrange(100, 2000) * MS

    played = [(at, message) for at, message in song(number) if message[0] < 0xF0]
    if not _WHOLE:
        first = chance.randrange(max(1, len(played) - length))
        played = played[first : first + length]
    channels = sorted({message[0] & 0x0F for _, message in played})
    return [*made()]


def _play(player: _Player, performance: list[tuple[int, bytes | int]]) -> None:
    for wait, what in performance:
        player.wait(wait)
        if isinstance(what, bytes):
            player.play(0, what)
        else:
            player.recall(what)


def _chance(number: int) -> random.Random:
    print(f"BAYLEAF_SEED={_SEED}")
    return random.Random(_SEED + number)


@pytest.mark.parametrize("number", SONGS)
def test_every_note_of_a_song_sounds_as_it_is_played(number: int) -> None:
    """Through scene changes every second or so, each note follows the channel that plays it; at the end all rests."""
    judged = JudgedEngine(SHOW)
    _play(judged, _performance(number, _chance(number), 800))
    judged.hands_off()
    judged.wait(1000 * MS)
    judged.check_rest()


@pytest.mark.parametrize("number", SONGS)
def test_a_takeover_is_not_heard_in_a_song(number: int) -> None:
    """If the engine in charge dies anywhere in a song, every note begins, is shaped and ends as if it had not."""
    chance = _chance(number)
    performance = _performance(number, chance, 300)
    dies_at = chance.randrange(len(performance))
    heard = []
    for dies in (False, True):
        pair = EnginePair(SHOW)
        _play(pair, performance[:dies_at])
        if dies:
            pair.die()
        _play(pair, performance[dies_at:])
        pair.wait(1000 * MS)
        heard.append(pair.heard)
    assert heard[1].audible() == heard[0].audible()
