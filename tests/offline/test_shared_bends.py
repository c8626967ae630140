"""Two lines from MPE zones to one ordinary channel: a warning with its line."""

import pytest

from engine.offline.shared_bends import shared_bends
from engine.rig.read.load import read

RIG = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, 8] } }
keys = { port = "b" }
[outputs]
box = { port = "c" }
[instruments.bass]
output = "box"
channel = 1
[instruments.wide]
output = "box"
mpe = { members = [10, 15] }
[[scenes]]
number = 1
name = "Split"
play = [
  { from = "grid", on = "bass", notes = "..B3", transpose = -12 },
  SECOND,
]
"""


def test_two_lines_that_bend_one_channel_are_found() -> None:
    (found,) = shared_bends(read(RIG.replace("SECOND", '{ from = "grid", on = "bass", notes = "C4.." }'), "test"))
    assert found.keys == ("scenes", 0, "play", 1)
    assert str(found) == (
        "scene 1 Split: line 1 and line 2 lead MPE zones to the one channel of bass, and each bends all of its notes; "
        "give each line an instrument of its own"
    )


@pytest.mark.parametrize(
    "second",
    [
        '{ from = "grid", on = "wide", notes = "C4.." }',
        '{ from = "keys", on = "bass", notes = "C4.." }',
        '{ from = "grid", on = "bass", notes = "..B3" }',
    ],
)
def test_lines_that_agree_are_passed_over(second: str) -> None:
    """Another instrument with a zone, a keyboard, or the same notes an octave higher."""
    assert not [*shared_bends(read(RIG.replace("SECOND", second), "test"))]
