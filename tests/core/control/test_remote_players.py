"""Remote commands at a player's own input: they act on that player's scenes, as a control there does.

Sources: our own SysEx as DEVELOPERS.md has it; MIDI Show Control 1.1.1, RP-002/014. Whose an input's commands are is
our own choice.
"""

from typing import Final

import pytest

from engine.core.control.remote_messages import read_own
from engine.core.engine import Engine
from engine.midi.show_control import ShowControl
from tests.support.players_rig import PLAYERS, players_engine, scenes_of
from tests.support.remote_writing import plain_request, recall_request, show_control

DEVICE: Final = 5
REMOTE: Final = f"""
[[scenes]]
number = 90
name = "Work light"
[remote]
inputs = ["keys", "anna", "ben"]
device = {DEVICE}
programs = true
to = "right"
"""


def begun() -> Engine:
    """All players are in the first scenes of their set lists; 90 is nobody's scene."""
    return players_engine(PLAYERS + REMOTE)


def go(cue: str = "", command: str = "go") -> bytes:
    """A message of show control to everything."""
    return show_control(ShowControl(DEVICE, 0x7F, command, cue or None))


@pytest.mark.parametrize(
    ("source", "message", "then"),
    [
        ("anna", plain_request(DEVICE, "next"), {"": 1, "anna": 22, "ben": 31}),
        ("ben", plain_request(DEVICE, "next"), {"": 1, "anna": 21, "ben": 32}),
        ("keys", plain_request(DEVICE, "next"), {"": 2, "anna": 21, "ben": 31}),
        ("anna", go(), {"": 1, "anna": 22, "ben": 31}),
        ("keys", go(), {"": 2, "anna": 21, "ben": 31}),
        ("anna", recall_request(DEVICE, 32), {"": 1, "anna": 21, "ben": 32}),
        ("anna", go("32"), {"": 1, "anna": 21, "ben": 32}),
        ("anna", go("2"), {"": 2, "anna": 21, "ben": 31}),
        ("anna", recall_request(DEVICE, 90), {"": 1, "anna": 90, "ben": 31}),
        ("ben", go("90"), {"": 1, "anna": 21, "ben": 90}),
        ("ben", b"\xc0\x59", {"": 1, "anna": 21, "ben": 90}),
        ("keys", b"\xc0\x15", {"": 1, "anna": 22, "ben": 31}),
    ],
)
def test_a_request_acts_on_the_scenes_of_whose_input_it_came_from(
    source: str, message: bytes, then: dict[str, int]
) -> None:
    """Next and GO are that player's; what only another plays is recalled for that one; nobody's for who asks."""
    engine = begun()
    engine.receive(0, engine.inputs.index(source), message)
    assert scenes_of(engine) == then


def test_what_is_loaded_comes_next_for_whose_scene_it_is() -> None:
    """A scene that is nobody's is loaded for the player at whose input it was asked for."""
    engine = begun()
    anna = engine.inputs.index("anna")
    engine.receive(0, anna, go("90", "load"))
    engine.receive(0, anna, go("32", "load"))
    assert {name: stack.setlist.loaded for name, stack in engine.state.stacks.items()} == {
        "": None,
        "anna": 90,
        "ben": 32,
    }


def test_a_player_is_answered_about_their_own_scene() -> None:
    """To "which scene is in force?" the answer is the player's own."""
    engine = begun()
    found = engine.receive(0, engine.inputs.index("anna"), plain_request(DEVICE, "ask scene"))
    (answer,) = [said for _, message, _ in found if (said := read_own(message)) is not None]
    assert answer.data[0] == 21
