"""Which keys are down, by themselves."""

import pytest

from engine.core.routing.held_notes import HeldNotes
from engine.core.routing.held_presses import Target


@pytest.mark.parametrize(
    ("message", "down"),
    [
        ("82 3C 00", True),
        ("92 3C 00", True),  # a note-on with velocity 0 is a release (MIDI 1.0 p. 10)
        ("A2 3C 20", True),
        ("A2 3D 20", False),
        ("83 3C 00", False),
        ("92 3C 40", False),
        ("B2 3C 40", False),
    ],
)
def test_releases_and_pressures_of_a_key_that_is_down_are_found(message: str, down: bool) -> None:
    notes = HeldNotes(each_press=False)
    notes.press(1, bytes.fromhex("92 3C 40"), (Target(0, 5, 0x3C),))
    assert notes.is_down(1, bytes.fromhex(message)) is down
    assert not notes.is_down(0, bytes.fromhex(message))
