"""Edits of a rig file's text. The rules are the project's own (README: operating); no outside source."""

import json
import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings

from engine.rig.edit.differences import rigs
from engine.rig.edit.scene_edits import (
    EditError,
    add_control,
    copy_scene,
    delete_scene,
    move_scene,
    put_scene,
    put_setlist,
    rename_scene,
    renumber_scene,
    set_burst,
    set_routes,
)
from engine.rig.read.load import read
from tests.support.plain_rig import RIG
from tests.support.random_rig_files import rig_texts

COMMENTED = re.sub(r"(?m)^(?=\[)", "# above\n", RIG).replace('= "Finale"', '= "Finale"   # the end')
ROUTE = {"from": "keys", "to": ["drums"]}


@settings(max_examples=30)
@given(rig_texts())
def test_a_copy_deleted_again_leaves_the_text(text: str) -> None:
    """Copying a scene and deleting the copy restores the text, byte for byte."""
    numbers = [scene.number for scene in read(text, "any").scenes]
    new = next(number for number in range(1, 10) if number not in numbers)
    assert delete_scene(copy_scene(text, numbers[0], new, "the copy of it"), new) == text


@settings(max_examples=30)
@given(rig_texts())
def test_storing_what_a_scene_has_changes_nothing(text: str) -> None:
    """A scene set to the routes it already has keeps its text as written."""
    scene = read(text, "any").scenes[0]
    routes = [route.model_dump(mode="json", by_alias=True, exclude_unset=True) for route in scene.routes]
    assert set_routes(text, scene.number, routes) == text


@pytest.mark.parametrize(
    "made",
    [
        copy_scene(COMMENTED, 11, 21),
        rename_scene(COMMENTED, 12, "End"),
        renumber_scene(COMMENTED, 11, 31),
        move_scene(COMMENTED, 12, 11),
        put_scene(COMMENTED, 12, "Finale", {"routes": [ROUTE]}),
        add_control(COMMENTED, {"input": "pedals", "when": {"note": 3}, "do": "back"}),
        put_setlist(COMMENTED, "Friday", [12, 11]),
    ],
)
def test_every_comment_is_still_there(made: str) -> None:
    """No edit loses a comment."""
    assert made.count("# above") >= COMMENTED.count("# above")
    assert made.count("# the end") == COMMENTED.count("# the end")


def test_a_copy_has_no_place_in_time_code() -> None:
    """Two scenes must not be recalled at the same time code: the copy is the same but for its number, name and `at`."""
    timed = RIG.replace("number = 11", 'number = 11\nat = "00:01:10:00"', 1)
    copied, made = read(copy_scene(timed, 11, 21), "any").scenes[:2]
    assert (copied.at is None, made.at) == (False, None)
    assert made.routes == copied.routes


def test_a_file_with_bom_and_windows_line_ends_keeps_them() -> None:
    """A BOM and CRLF line ends survive an edit."""
    text = "\ufeff" + RIG.replace("\n", "\r\n")
    made = copy_scene(text, 11, 21)
    assert made.startswith("\ufeff")
    assert made.count("\n") == made.count("\r\n")
    assert delete_scene(made, 21) == text


def test_references_follow_a_new_name_and_number() -> None:
    """Set lists and `start` refer to a scene by its new name and number."""
    rig = read(renumber_scene(rename_scene(RIG, 12, "End"), 11, 31), "any")
    assert (rig.rig.start, rig.setlists[0].scenes) == ("End", (31, "End"))


def test_moving_there_and_back_gives_the_text() -> None:
    """A scene moved before another one is there; moved to the end, it is back."""
    made = move_scene(RIG, 12, 11)
    assert [scene.number for scene in read(made, "any").scenes] == [12, 11]
    assert move_scene(made, 12, None) == RIG


def test_a_stored_scene_has_the_routes_and_burst_given() -> None:
    """A new scene has exactly the given routes and burst, with one route per line."""
    made = put_scene(RIG, 30, "New", {"routes": [ROUTE], "burst": [{"output": "drums", "channel": 1, "program": 2}]})
    assert rigs(read(RIG, "any"), read(made, "any")) == ["scene 30 New is new"]
    assert '\n  { from = "keys", to = ["drums"] },\n' in made


def test_keys_may_be_written_in_any_way() -> None:
    """A quoted key with an escape is the same key (TOML 1.0, keys)."""
    text = RIG.replace("number = 12", '"n\\U00000075mber" = 12').replace('name   = "Finale"', '"n\\u0061me" = "Finale"')
    made = renumber_scene(rename_scene(text, 12, "End"), 12, 13)
    assert '"n\\U00000075mber" = 13\n"n\\u0061me" = "End"\n' in made


def test_routes_under_heads_of_their_own_are_changed_there() -> None:
    """[[scenes.routes]] remains a section, and its neighbours stay as written."""
    text = RIG.replace('name   = "Finale"\n', 'name   = "Finale"\n[[scenes.routes]]\nfrom = "keys" # a\nto = "drums"\n')
    made = set_routes(text, 12, [{"from": "keys", "to": "drums"}, {"from": "pedals", "to": "drums"}])
    assert 'from = "keys" # a\n' in made
    assert made.count("[[scenes.routes]]") == 2
    assert set_routes(made, 12, []) == RIG


CHAIN = """\
routes = [
  { from = "keys", to = ["strings", "drums"], through = [
    { filter = "zone", notes = ["C-1", "B3"] },   # the low half
    # as Anna asked
    { filter = "transpose", semitones = -12 },
  ] },  # the bass
]
"""


@pytest.mark.parametrize(
    ("targets", "semitones", "old", "new"),
    [
        (["strings", "drums"], [-11], "semitones = -12 }", "semitones = -11 }"),
        (["drums"], [-12], "", ""),
        (["strings", "drums"], [], '    { filter = "transpose", semitones = -12 },\n', ""),
        (["drums"], [-12, 1], "-12 },", '-12 },\n    { filter = "transpose", semitones = 1 },'),
    ],
)
def test_what_a_route_keeps_stays_as_it_is_written(
    targets: list[str], semitones: list[int], old: str, new: str
) -> None:
    """A route that gets another filter or output keeps its other keys, its lines and the comments inside it."""
    text = re.sub(r"(?ms)^routes = \[.*?^\]\n", CHAIN, RIG, count=1)
    chain = [{"filter": "zone", "notes": [0, 59]}, *({"filter": "transpose", "semitones": one} for one in semitones)]
    made = set_routes(text, 11, [{"from": ["keys"], "to": targets, "through": chain}])
    assert made == text.replace(old, new).replace('["strings", "drums"]', json.dumps(targets))


def test_a_step_under_a_head_of_its_own_keeps_its_comments() -> None:
    """A burst step that gets another sound keeps its unchanged keys and their comments."""
    step = '[[scenes.burst]]\noutput = "drums"   # the pads\nchannel = 10   # as printed\nprogram = 88\n'
    text = RIG.replace('name   = "Finale"\n', f'name   = "Finale"\n{step}')
    made = set_burst(text, 12, [{"output": "drums", "channel": 10, "bank": [1, 0], "program": 89}])
    assert made == text.replace("program = 88\n", "program = 89\nbank = [1, 0]\n")


EDITS: dict[str, Callable[[str], str]] = {
    "copy": lambda text: copy_scene(text, 11, 21),
    "rename": lambda text: rename_scene(text, 12, "End"),
    "renumber": lambda text: renumber_scene(text, 11, 31),
    "move": lambda text: move_scene(text, 12, 11),
    "delete": lambda text: delete_scene(text, 11),
    "put": lambda text: put_scene(text, 12, "Finale", {"routes": [ROUTE]}),
    "routes": lambda text: set_routes(text, 12, [ROUTE]),
    "burst": lambda text: set_burst(text, 12, []),
    "control": lambda text: add_control(text, {"input": "pedals", "when": {"note": 3}, "do": "back"}),
    "set list": lambda text: put_setlist(text, "Friday", [12, 11]),
}


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
@pytest.mark.parametrize(
    ("written", "instead", "wrong"),
    [
        ("number = 11\n", "", "scenes.1.number: this key is missing"),
        ('name   = "Overture"\n', "", "scenes.1.name: this key is missing"),
        ('name   = "Friday"\n', "", "setlists.1.name: this key is missing"),
        ("[[scenes]]\nnumber = 11", "[[scenes]\nnumber = 11", "rig:35"),
    ],
)
def test_a_faulty_rig_is_not_edited(edit: Callable[[str], str], written: str, instead: str, wrong: str) -> None:
    """Whatever the edit, a file that is at fault by itself is refused with its own error, place included."""
    assert written in RIG
    with pytest.raises(EditError, match=r"the rig is not valid: (?s:.*)" + re.escape(wrong)):
        edit(RIG.replace(written, instead))


@pytest.mark.parametrize(
    ("edit", "expected"),
    [
        (lambda: delete_scene(RIG, 12), "scene 12 is used by start in line 5; change that line first"),
        (lambda: delete_scene(RIG, 13), "there is no scene 13; there are: 11, 12"),
        (lambda: copy_scene(RIG, 11, 12), "scene 12 Finale already has the number 12; choose another"),
        (lambda: rename_scene(RIG, 11, "Finale"), 'scene 12 Finale already has the name "Finale"; choose another'),
        (lambda: rename_scene(RIG, 11, "Ouvert\udcfcre"), "this line contains half a character"),
        (lambda: add_control(RIG, {}), "controls.3.input: this key is missing; it is required here"),
        (lambda: set_routes(RIG, 11, [{"from": "nobody", "to": "drums"}]), 'there is no input "nobody"'),
    ],
)
def test_what_cannot_be_done_is_refused_with_place_and_remedy(edit: object, expected: str) -> None:
    """An edit that would break the rig is rejected with one sentence."""
    assert callable(edit)
    with pytest.raises(EditError, match=re.escape(expected)):
        edit()
