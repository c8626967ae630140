"""Scenes that are all in one list are copied, moved, stored and deleted like those under their own [[scenes]]."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.rig.edit import scene_edits
from engine.rig.edit.scene_edits import UnknownScene
from engine.rig.edit.whole_edits import InvalidRig
from engine.rig.read.load import read
from tests.support.paths import PRESETS

THEATRE = (PRESETS / "shows" / "theatre.toml").read_text(encoding="utf-8")
HEAD = """format = 2
inputs.keys = { port = "a" }
outputs.box = { port = "b" }
instruments.bass = { output = "box", channel = 2 }
"""
LISTED = (
    HEAD
    + """scenes = [
  # the first act
  { number = 1, cue = "1", name = "One", play = [
    { from = "keys", on = "bass" },  # the left hand
  ] },  # quiet
  { number = 2, name = "Two", like = 1, at = "01:00:00:00" },

  # the second act
  { number = 3, name = "Three", cue = "3" }
]
"""
)
ONE_LINE = HEAD + 'scenes = [{ number = 1, name = "One", cue = "1" }, { number = 2, name = "Two" }]\n'


def numbers(text: str) -> list[int]:
    return [scene.number for scene in read(text, "test").scenes]


def test_a_copy_comes_behind_its_scene_and_has_no_cue() -> None:
    """It is written as the scene is, with another number and name; everything else stays as it is."""
    made = scene_edits.copy_scene(LISTED, 1, 9, "Nine")
    copy = """  { number = 9, name = "Nine", play = [
    { from = "keys", on = "bass" },  # the left hand
  ] },  # quiet
"""
    two = '  { number = 2, name = "Two"'
    assert made == LISTED.replace(two, copy + two).replace('cue = "3" }\n', 'cue = "3" },\n')
    assert scene_edits.delete_scene(made, 9) == LISTED.replace('cue = "3" }\n', 'cue = "3" },\n')


def test_a_copy_loses_a_cue_or_a_place_that_is_said_last() -> None:
    """Its comma goes with it."""
    assert '{ number = 8, name = "Two copy", like = 1 },\n' in scene_edits.copy_scene(LISTED, 2, 8)
    assert '{ number = 8, name = "Three copy" },\n' in scene_edits.copy_scene(LISTED, 3, 8)


@pytest.mark.parametrize(
    ("number", "before", "order"), [(3, 1, [3, 1, 2]), (1, None, [2, 3, 1]), (2, None, [1, 3, 2]), (1, 3, [2, 1, 3])]
)
def test_a_scene_is_moved_with_the_comments_above_it(number: int, before: int | None, order: list[int]) -> None:
    """No comment is lost, and each scene is what it was."""
    made = scene_edits.move_scene(LISTED, number, before)
    assert numbers(made) == order
    assert sorted(made.replace("},", "}").splitlines()) == sorted(LISTED.replace("},", "}").splitlines())
    assert {each.number: each for each in read(made, "test").scenes} == {
        each.number: each for each in read(LISTED, "test").scenes
    }
    above = {1: "  # the first act\n  { number = 1", 3: "  # the second act\n  { number = 3"}
    assert all(words in made for words in above.values())


def test_scenes_on_one_line_get_lines_of_their_own() -> None:
    """A list on one line is written out where a scene is copied, moved or deleted."""
    assert scene_edits.move_scene(ONE_LINE, 2, 1) == (
        HEAD + 'scenes = [\n  { number = 2, name = "Two" },\n  { number = 1, name = "One", cue = "1" },\n]\n'
    )
    assert numbers(scene_edits.copy_scene(ONE_LINE, 2, 5)) == [1, 2, 5]
    assert numbers(scene_edits.delete_scene(ONE_LINE, 1)) == [2]


def test_a_new_scene_is_stored_at_the_end_of_the_list() -> None:
    """A list of lines in it has a line for each."""
    played = {"play": [{"from": ["keys"], "on": "bass"}], "burst": []}
    made = scene_edits.put_scene(LISTED, 7, "Seven", played)
    added = '  { number = 7, name = "Seven", play = [\n    { from = ["keys"], on = "bass" },\n  ] },\n]\n'
    assert made == LISTED.replace('cue = "3" }\n]\n', 'cue = "3" },\n' + added)


def test_what_a_scene_in_the_list_is_given_is_further_in_than_it() -> None:
    """A list that it did not have yet has a line for each element, too."""
    made = scene_edits.put_scene(LISTED, 3, "Three", {"play": [{"from": ["keys"], "on": "bass"}], "burst": []})
    assert ', play = [\n    { from = ["keys"], on = "bass" },\n  ] }\n]\n' in made


def test_what_is_not_there_or_would_not_load_is_refused() -> None:
    """As for scenes under their own heads."""
    with pytest.raises(UnknownScene, match="no scene 5; there are: 1, 2, 3"):
        scene_edits.copy_scene(LISTED, 5, 6)
    with pytest.raises(scene_edits.EditError, match="scene 1 is used by scene 2, which is like it,"):
        scene_edits.delete_scene(LISTED, 1)
    with pytest.raises(InvalidRig):
        scene_edits.copy_scene(LISTED, 1, 99_999)


def test_the_theatre_show_is_edited_in_place() -> None:
    """A copy adds its own lines to the show of 120 cues and nothing else; a scene can be moved there and back."""
    made = scene_edits.copy_scene(THEATRE, 40, 999)
    added = [line for line in made.splitlines() if line not in THEATRE.splitlines()]
    assert 1 <= len(added) <= 8
    assert "number = 999" in added[0]
    assert scene_edits.delete_scene(made, 999) == THEATRE
    after = numbers(THEATRE)[40]
    there = scene_edits.move_scene(THEATRE, 40, 1)
    assert numbers(there)[0] == 40
    assert numbers(scene_edits.move_scene(there, 40, after)) == numbers(THEATRE)


BLANKS = st.sampled_from(["", " ", "\n", "\n  ", " # words\n  ", "\n  # words\n  "])


@st.composite
def lists_of_scenes(draw: st.DrawFn) -> str:
    """Three scenes in a list, with blanks, line ends and comments wherever TOML has them."""
    scenes = [draw(st.sampled_from(["", f', cue = "{each}"', ', text = "}], # no"'])) for each in (1, 2, 3)]
    listed = ",".join(
        f'{draw(BLANKS)}{{ number = {number}, name = "S{number}"{more} }}{draw(BLANKS)}'
        for number, more in enumerate(scenes, 1)
    )
    return f"{HEAD}scenes = [{listed}{draw(st.sampled_from(['', ',', ',  # words' + chr(10)]))}]\n[osc]\nport = 9000\n"


@settings(max_examples=40)
@given(lists_of_scenes(), st.integers(1, 3), st.sampled_from([1, 2, 3, None]))
def test_any_list_of_scenes_is_edited(text: str, number: int, before: int | None) -> None:
    """However it is written, each edit does what was asked for and nothing else, and loses no comment but a deleted
    scene's."""
    whole = {each.number: each for each in read(text, "test").scenes}
    others = [each for each in (1, 2, 3) if each != number]
    place = len(others) if before in (None, number) else others.index(before)
    ways = [
        ([1, 2, 3], scene_edits.set_facts(text, number, {"tempo": 90})),
        ([*range(1, number + 1), 9, *range(number + 1, 4)], scene_edits.copy_scene(text, number, 9)),
        (others, scene_edits.delete_scene(text, number)),
    ]
    if before != number:
        ways.append(([*others[:place], number, *others[place:]], scene_edits.move_scene(text, number, before)))
    for wanted, made in ways:
        assert numbers(made) == wanted
        for each in read(made, "test").scenes:
            assert each.number in (9, number) or each == whole[each.number]
        if len(wanted) > 2:
            assert len(re.findall("# words", made)) >= len(re.findall("# words", text))
