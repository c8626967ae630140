"""Which scenes are made ready, and which stay."""

from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of

RIG = """format = 2
[inputs]
keys = { port = "a" }
[outputs]
box = { port = "b" }
[instruments.bass]
output = "box"
channel = 1
[[scenes]]
number = 1
name = "Overture"
play = [{ from = "keys", on = "bass" }]
"""


def test_what_songs_transpose_is_made_beforehand_and_stays_when_the_foot_transposes() -> None:
    """What only the foot has asked for goes, as it may be anything."""
    scenes = ScenesInPlay(engine_of(read(RIG, "pit.toml")).state.compiled.scenes, transposed=[(1, 2)])
    of_song, by_foot = scenes.at(1, 2), scenes.at(1, 3)
    assert scenes.at(1, 0) is scenes.by_number[1]
    assert scenes.at(1, 3) is by_foot
    scenes.forget_steps(playing=(by_foot,))
    assert scenes.at(1, 3) is by_foot
    scenes.forget_steps()
    assert scenes.at(1, 2) is of_song
    assert scenes.at(1, 3) is not by_foot
