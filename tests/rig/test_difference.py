"""Differences in words. The wording is the project's own; no outside source."""

from hypothesis import given, settings
from plain_rig import RIG
from strategies import rig_texts

from engine.rig.difference import rigs, scenes, text
from engine.rig.load import read


@settings(max_examples=20, deadline=None)
@given(rig_texts(), rig_texts())
def test_only_equal_rigs_have_no_difference(one: str, other: str) -> None:
    """Two rigs differ in words exactly if they differ."""
    a, b = read(one, "a"), read(other, "b")
    assert rigs(a, a) == []
    assert (rigs(a, b) == []) == (a == b)


def test_two_scenes_in_words() -> None:
    """What one scene has and the other has not is told."""
    rig = read(RIG, "any")
    told = scenes(rig, 11, rig, 12)
    assert told[0] == "name was Overture, is Finale"
    assert 'burst step taken out: string-machine: sound "Warm pad"' in told


def test_equal_texts_have_no_lines() -> None:
    """A unified diff names both sides and is empty for equal texts."""
    assert text("a\n", "a\n", "old", "new") == ""
    assert text("a\n", "b\n", "old", "new").splitlines()[:2] == ["--- old", "+++ new"]


def test_a_control_in_words() -> None:
    """A control is told with its condition as it was written, a single number as one."""
    control = '\n[[controls]]\ninput = "pedals"\nwhen = { note = NOTE }\ndo = "back"\n'
    one, other = (read(RIG + control.replace("NOTE", note), "any") for note in ("3", "[3, 5]"))
    assert rigs(one, other) == [
        "control taken out: input pedals when note 3 do back",
        "control added: input pedals when note 3 to 5 do back",
    ]


def test_a_blank_step_in_words() -> None:
    """A step that sends nothing is told as blank."""
    rig = read(RIG.replace(', sound = "Warm pad"', ""), "any")
    assert "burst step taken out: string-machine: blank" in scenes(rig, 11, rig, 12)
