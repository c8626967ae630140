"""A kept MPE performance, rehearsed: at each moment its notes sound as high as they were played."""

from collections.abc import Iterable

import pytest

from engine.offline.rehearsal_run import rehearse
from engine.offline.song import read_song
from engine.rig.read.load import read
from tests.support.mpe_music import FILE, written
from tests.support.mpe_port import MpePort
from tests.support.songs import messages_of

CENT = 0.01
MS = 1_000_000
RIG = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, 15] } }
[outputs]
wide = { port = "b" }
narrow = { port = "c" }
[instruments.wide]
output = "wide"
mpe = { members = [10, 15], bend = 60 }
[instruments.narrow]
output = "narrow"
channel = 5
setup = ["pitch bend range 36"]
[[scenes]]
number = 1
name = "Both"
play = [{ from = "grid", on = "wide" }, { from = "grid", on = "narrow" }]
"""


def test_the_file_is_our_own() -> None:
    """It is generated, and what generates it is here."""
    assert FILE.read_bytes() == written()


def _pitches(played: Iterable[tuple[int, bytes]], module: MpePort, times: list[int]) -> list[list[float]]:
    """What sounds at each of these times (ns)."""
    found, listed = [], list(played)
    for time in times:
        while listed and listed[0][0] <= time:
            module.hear(listed.pop(0)[1])
        found.append(module.pitches())
    return found


def _heard_at(output: str) -> list[tuple[int, bytes]]:
    """What an output is sent in a rehearsal of the file, from the start of the song."""
    song = read_song(FILE, ["grid"], ["grid"])
    done = rehearse(read(RIG, "test"), song, 1, lambda part: None).done
    return [(each.asked, each.message) for each in done.sent[output]]


def test_a_wider_zone_plays_it_as_it_was_played() -> None:
    """Another zone, with other members and another range, at 25 moments of each second."""
    played = messages_of(FILE)
    times = [*range(0, played[-1][0] + 100 * MS, 40 * MS)]
    wanted = _pitches(played, MpePort(), times)
    found = _pitches(_heard_at("wide"), MpePort(), times)
    assert sum(map(len, wanted)) > 300
    for one, other in zip(found, wanted, strict=True):
        assert one == pytest.approx(other, abs=CENT)


def test_one_channel_plays_the_last_note_as_it_was_played() -> None:
    """Where one note sounds, it is in tune on an ordinary channel of another range."""
    played = messages_of(FILE)
    times = [*range(0, played[-1][0] + 100 * MS, 40 * MS)]
    wanted = _pitches(played, MpePort(), times)
    narrow = MpePort()
    found = _pitches(_heard_at("narrow"), narrow, times)
    alone = [(one, other) for one, other in zip(found, wanted, strict=True) if len(other) == 1]
    assert len(alone) > 30
    for one, other in alone:
        assert one == pytest.approx(other, abs=CENT)
    assert narrow.at_rest
