"""Keys without a drum to which a line moves pads: a warning with its line, and the drums that there are."""

from engine.offline.silent_drums import silent_drums
from engine.rig.read.load import read

RIG = """
format = 2
[inputs]
pads = { port = "a" }
[outputs]
box = { port = "b" }
[instruments.kit]
output = "box"
channel = 10
drums = true
[instruments.own]
output = "box"
channel = 11
keys = { 36 = "Kick", 38 = "Snare" }
[[scenes]]
number = 1
name = "Beat"
play = [
  { from = "pads", on = "kit", through = [{ filter = "notes", map = { 60 = 38, 61 = 90 } }] },
  { from = "pads", on = "own", through = [{ filter = "notes", map = { 60 = 42 } }], name = "second" },
  { from = "pads", on = "own", through = [{ filter = "notes", map = { 60 = 36 } }], name = "third" },
]
"""


def test_keys_without_a_drum_are_found() -> None:
    """Once for each line; a line that strikes drums only is passed over."""
    found = [*silent_drums(read(RIG, "test"))]
    assert [each.keys for each in found] == [("scenes", 0, "play", 0), ("scenes", 0, "play", 1)]
    assert str(found[0]) == (
        "scene 1 Beat: line 1 plays F#6 of kit, which has no drum there; its drums are D#1 High Q to D#6 Open Surdo"
    )
    assert "second plays F#2 of own" in str(found[1])
    assert str(found[1]).endswith("its drums are C2 Kick to D2 Snare")
