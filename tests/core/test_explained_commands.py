"""`explain` on messages that command: it says what the show does with them. The Bay itself is the reference."""

import pytest

from engine.core.bay import Bay
from engine.core.explain import explain
from engine.rig.load import read

RIG = read(
    """
format = 1
[inputs]
pedals = { port = "a" }
desk = { port = "b" }
[outputs]
strings = { port = "c" }
[[routes]]
from = ["pedals", "desk"]
to = "strings"
[[scenes]]
number = 1
name = "One"
[[scenes]]
number = 2
name = "Two"
[[controls]]
input = "pedals"
when = { program = "any" }
do = "scene"
[[controls]]
input = "pedals"
when = { controller = 64, at_least = 64 }
do = "next"
[[controls]]
input = "pedals"
when = { note = 36 }
do = "panic"
scenes = [2]
[[controls]]
input = "pedals"
when = { song = 1 }
do = "next"
pass = true
[remote]
inputs = ["desk"]
device = 5
""",
    "rig",
)
GO_61 = "F0 7F 05 02 01 01 36 31 F7"  # MIDI Show Control 1.1.1 (RP-002), GO with the cue number "61"


@pytest.mark.parametrize(
    ("scene", "source", "message", "taken"),
    [
        (1, "pedals", "C0 0B", "a control takes it: scene"),
        (1, "pedals", "B0 40 20", "a control takes it: next"),
        (1, "pedals", "B0 40 7F", "a control takes it: next"),
        (1, "pedals", "B0 41 7F", None),
        (1, "pedals", "90 24 40", None),
        (2, "pedals", "90 24 40", "a control takes it: panic"),
        (1, "pedals", "F3 00", None),
        (1, "pedals", GO_61, None),
        (1, "desk", GO_61, "[remote] takes it: scene"),
        (1, "desk", "F0 7F 06 02 01 01 36 31 F7", None),
        (1, "desk", "C0 0B", None),
    ],
)
def test_explain_knows_what_commands(scene: int, source: str, message: str, taken: str | None) -> None:
    """A message that a control or [remote] consumes reaches no route, and `explain` names who takes it."""
    asked, bay = bytes.fromhex(message), Bay(RIG)
    bay.recall(0, scene)
    found = explain(RIG, RIG.scenes[scene - 1], source, asked)
    assert found.taken == taken
    sent = [message for _, message, *_ in bay.receive(1, bay.inputs.index(source), asked)]
    assert list(found.outputs["strings"]) == [each for each in sent if each == asked]
    assert bool(found.routes) is (taken is None)
