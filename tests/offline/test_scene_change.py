"""What the recall of a scene after another one sends."""

from engine.offline.scene_change import ChangeOnOutput, LeftOut, scene_change
from engine.rig.models.rig import Scene
from engine.rig.read.load import read

RIG = read(
    """
format = 2
[outputs]
strings = { port = "a", wire = "din" }
brass = { port = "b" }
[instruments.lead]
output = "strings"
channel = 1
settle = "10 ms"
sounds = { "Pad" = { bank = [1, 2], program = 6 }, "Reed" = { program = 8 } }
[instruments.horn]
output = "brass"
channel = 3
[[scenes]]
number = 1
name = "One"
burst = [ { instrument = "lead", sound = "Pad" }, { instrument = "horn", program = 4 } ]
[[scenes]]
number = 2
name = "Two"
burst = [ { instrument = "horn", program = 4 }, { instrument = "lead", sound = "Reed" } ]
""",
    "test",
)


def _scene(number: int) -> Scene:
    found = RIG.scene(number)
    assert found is not None
    return found


def test_a_change_sends_what_differs() -> None:
    """Two bytes of 320 µs (MIDI 1.0 p. 1) and 10 ms of settling for one instrument; the other is on its sound."""
    found = scene_change(RIG, _scene(1), _scene(2))
    assert found == {
        "strings": ChangeOnOutput((b"\xc0\x07",), 10_640_000, ()),
        "brass": ChangeOnOutput((), 0, (LeftOut("horn", "program 4", (b"\xc2\x03",)),)),
    }


def test_the_same_scene_again_sends_all() -> None:
    """Recalling the scene in force sends its burst again."""
    found = scene_change(RIG, _scene(1), _scene(1))
    assert [len(change.sent) for change in found.values()] == [3, 1]
    assert [change.left_out for change in found.values()] == [(), ()]
