"""Recordings that begin within a show: every player is where they were, and what went out is replayed to the byte."""

from pathlib import Path
from random import Random
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import MuteRoute, NextScene, PreviousScene, RecallScene, Transpose
from engine.live.recording_files import RecordingNames, write
from engine.offline.flight_recording import FlightRecording, FlightRecordingError, read_recording
from engine.offline.replay import Replay
from engine.rig.read.load import read
from tests.support.players_rig import PLAYERS
from tests.support.small_show import MS, Bench

S: Final = 1000 * MS
# no two players share an instrument: whose bend was sent last, a recording does not say
RIG: Final = (
    PLAYERS.replace('sound = "Muted", transpose = 12', 'sound = "Muted", transpose = 12, name = "lament"')
    .replace('{ from = "ben", on = "brass" }', '{ from = "ben", on = "strings", transpose = 2 }')
    .replace("[[setlists]]", '[[songs]]\nname = "Ballad"\ntranspose = -2\nscenes = [22]\n\n[[setlists]]', 1)
)


def recording(bench: Bench, since: int, file: Path) -> FlightRecording:
    """What was recorded since then, written and read."""
    kept = bench.show.recorder.last(bench.now, (bench.now - since) / S)
    write(kept, file, RecordingNames("pit", bench.show.inputs, bench.show.outputs))
    return read_recording(file)


def begun() -> Bench:
    """A show whose players have all begun."""
    bench = Bench(RIG)
    for player in ("", "anna", "ben"):
        bench.show.apply(NextScene(player=player))
    bench.passes(S)
    return bench


def test_every_player_is_where_they_were(tmp_path: Path) -> None:
    """Scene, set list, place, song and step of each; what was muted is muted."""
    bench = begun()
    bench.show.apply(RecallScene(22))
    bench.show.apply(Transpose(1, player="anna"))
    bench.show.apply(Transpose(-1, player="ben"))
    bench.show.apply(NextScene())
    bench.show.apply(MuteRoute("lament"))
    bench.passes(2 * S)
    bench.play(0, "90 3C 40")
    kept = recording(bench, 2 * S, tmp_path / "night.jsonl")
    assert not kept.whole
    replay = Replay(bench.rig, RIG)
    assert replay.run(kept).odd == []
    live, again = bench.show.engine, replay.engine
    assert again.positions == live.positions
    assert again.positions["anna"].song == "Ballad"
    assert {stack: each.step for stack, each in again.positions.items()} == {"": 0, "anna": 1, "ben": -1}
    assert again.state.muted == {"lament"}


_PLAYERS: Final = ("", "anna", "ben")
_SOURCES: Final = (0, 1, 3)
_FOOT: Final = 2  # Anna's
_MOVED: Final = ("B0 40 7F", "B0 40 00", "E0 00 50", "E0 00 40", "C0 05")


class _Hands:
    """Players who play and command at random. A key that is down is not pressed, and one that is up not released."""

    def __init__(self, bench: Bench, rng: Random) -> None:
        self._bench, self._rng = bench, rng
        self._down: set[int] = set()

    def act(self) -> None:
        """One thing that one of them does."""
        player, what = self._rng.randrange(3), self._rng.randrange(8)
        source, name, bench = _SOURCES[player], _PLAYERS[player], self._bench
        if what < 3:
            self._down ^= {source}
            bench.play(source, "90 3C 40" if source in self._down else "80 3C 40")
        elif what < 5:
            bench.play(source, self._rng.choice(_MOVED))
        elif what == 5:
            bench.play(_FOOT, self._rng.choice(("B0 50 7F", "B0 50 00")))
        elif what == 6:
            bench.show.apply(Transpose(self._rng.choice((1, -1)), player=name))
        else:
            bench.show.apply(self._rng.choice((NextScene, PreviousScene))(player=name))
        bench.passes(bench.now + 300 * MS)


@given(st.integers(0, 1 << 32))
@settings(max_examples=40, deadline=None)
def test_it_is_replayed_to_the_byte(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    """Wherever the recording begins: keys and pedals may be down, wheels turned and scenes changed by switches."""
    rng, bench = Random(seed), begun()
    hands = _Hands(bench, rng)
    for _ in range(rng.randrange(1, 25)):
        hands.act()
    since = bench.now
    for _ in range(25):
        hands.act()
    replay = Replay(bench.rig, RIG)
    found = replay.run(recording(bench, since, tmp_path_factory.mktemp("night") / "night.jsonl"))
    assert found.odd == []
    assert replay.engine.positions == bench.show.engine.positions


@pytest.mark.parametrize(
    "before",
    [
        "3",
        '["in"]',
        '[["in", "keys", "90"]]',
        '[["on", "keys", "F8"]]',
        '[["show", {}]]',
        '[["show", {"players": {"anna": {"scene": 21}}, "muted": [], "channels": {}}]]',
        '[["show", {"players": {}, "muted": [1], "channels": {}}]]',
        '[["show", {"players": {}, "muted": [], "channels": {"bass": 17}}]]',
    ],
)
def test_what_was_in_force_is_checked(tmp_path: Path, before: str) -> None:
    file = tmp_path / "night.jsonl"
    file.write_text(f'{{"format": "bayleaf recording 2", "monotonic": 1, "scene": null, "before": {before}}}\n')
    with pytest.raises(FlightRecordingError, match=r"night\.jsonl:1: "):
        read_recording(file)


def test_what_this_rig_does_not_have_is_left_out(tmp_path: Path) -> None:
    """Players, scenes and ports of another rig."""
    bench = begun()
    bench.play(3, "90 3C 40")
    bench.passes(2 * S)
    bench.play(0, "90 3C 40")
    text = RIG[: RIG.index('[[players]]\nname = "ben"')] + RIG[RIG.index("[[controls]]") :]
    text = text.replace("anna-foot", "spare")
    replay = Replay(read(text, "pit.toml"), text)
    replay.run(recording(bench, 2 * S, tmp_path / "night.jsonl"))
    assert {name: each.scene for name, each in replay.engine.positions.items()} == {"": 1, "anna": 21}
