"""Edits of what came with format 2: lines, scenes that are like others, cues. (Our own design; no source.)"""

from typing import Any

import pytest

from engine.rig.edit.scene_edits import (
    EditError,
    copy_scene,
    delete_scene,
    put_scene,
    rename_scene,
    renumber_scene,
    set_lines,
    set_routes,
)
from engine.rig.edit.scene_references import followers, following_name, following_number
from engine.rig.edit.whole_edits import InvalidRig
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.plain_rig_2 import RIG_2

THIRD = '\n[[scenes]]\nnumber = 13\nname = "Encore"\nlike = "Finale"\n'
RIG = RIG_2 + THIRD
BASS = {"from": "keys", "on": "bass-box", "sound": "Upright", "notes": "..B2", "transpose": -12}


def rig(text: str) -> Rig:
    """The rig in a text."""
    return read(text, "pit.toml")


def played(text: str, number: int) -> tuple[object, object]:
    """What a scene plays: its routes and lines as routes, and its burst."""
    found = rig(text)
    scene = found.scene(number)
    assert scene is not None
    lowered = Lowering(found).lowered(scene)
    return {repr(route._replace(place=0, label="")) for route in lowered.routes}, lowered.burst


def test_a_line_that_stays_is_left_as_it_is_written() -> None:
    """Also where the same keys are meant by other words: with C3 as note 60, "..B2" ends at 59."""
    lines: list[dict[str, Any]] = [{**BASS, "notes": [0, 59]}, {"name": "brass", "from": "pedals", "on": "old-synth"}]
    made = set_lines(RIG, 11, lines)
    assert 'sound = "Upright", notes = "..B2", transpose = -12 },' in made
    assert rig(made).scenes[0].play[1].source == ("pedals",)


def test_lines_are_added_to_a_scene_without_any() -> None:
    """They come one to a line."""
    made = set_lines(RIG, 13, [BASS])
    assert THIRD + 'play = [\n  { from = "keys", on = "bass-box", sound = "Upright",' in made


def test_an_edit_that_breaks_a_line_is_refused() -> None:
    """And nothing has changed."""
    with pytest.raises(InvalidRig, match=r"scenes\.1\.play\.1\.on \(scene 11\): there is no instrument"):
        set_lines(RIG, 11, [{"from": "keys", "on": "harp"}])


def test_a_copy_has_no_cue() -> None:
    """A cue belongs to one scene; the copy is like what the original is like."""
    copy = rig(copy_scene(RIG, 12, 20)).scenes[2]
    assert (copy.number, copy.cue, copy.like) == (20, None, 11)


def test_scenes_that_are_like_another_follow_its_number_and_its_name() -> None:
    """`like` is written anew where it says the old one."""
    assert rig(renumber_scene(RIG, 11, 21)).scenes[1].like == 21
    assert following_number(rig(RIG), 11, 21) == ", also in scene 12"
    assert rig(rename_scene(RIG, 12, "The end")).scenes[2].like == "The end"
    assert following_name(rig(RIG), 12) == ", also in scene 13"


def test_a_scene_that_another_is_like_cannot_be_deleted() -> None:
    """The refusal names the scene and the line."""
    with pytest.raises(EditError, match="scene 11 is used by scene 12, which is like it, in line 54; change that"):
        delete_scene(RIG, 11)
    assert [scene.number for scene in rig(delete_scene(RIG, 13)).scenes] == [11, 12]


def test_who_follows_an_edit_is_said() -> None:
    """Scenes that are like it, also through others; of very many the first ten."""
    assert followers(rig(RIG), 11) == "; scenes 12 and 13 are like it and change with it"
    assert followers(rig(RIG), 12) == "; scene 13 is like it and changes with it"
    assert followers(rig(RIG), 13) == ""
    many = RIG + "".join(f'[[scenes]]\nnumber = {n}\nname = "S{n}"\nlike = 13\n' for n in range(20, 40))
    words = "; scenes 20, 21, 22, 23, 24, 25, 26, 27, 28, 29 and others are like it and change with it"
    assert followers(rig(many), 13) == words


# Storing

BRASS = {
    "name": "brass",
    "from": ["keys", "pedals"],
    "on": "old-synth",
    "velocity": [20, 127],
    "through": ["left hand"],
}


def test_a_new_scene_is_stored_with_its_lines() -> None:
    """One line each, like routes."""
    made = put_scene(RIG, 30, "New", {"play": [BASS], "routes": [], "burst": [], "transpose": -2})
    assert made.endswith("transpose = -2\n")
    assert rig(made).scenes[-1].play == rig(RIG).scenes[0].play[:1]


def test_storing_over_a_scene_that_is_like_another_says_the_difference() -> None:
    """It stays like it: what is the same is not written, and what is missing is taken away by its name."""
    same = {"play": [BASS, BRASS], "routes": [], "burst": [], "transpose": -2}
    louder = {**same, "play": [{**BASS, "velocity": [64, 127]}, BRASS]}
    made = put_scene(RIG, 13, "Encore", louder)
    scene = rig(made).scenes[2]
    assert scene.like == "Finale"
    assert [(line.on, line.velocity) for line in scene.play] == [("bass-box", (64, 127)), ("old-synth", (20, 127))]
    assert played(made, 13) == played(put_scene(RIG, 30, "New", louder), 30)
    quiet = {"play": [BASS], "routes": [], "burst": [], "transpose": -2}
    made = put_scene(RIG, 12, "Finale", quiet)
    assert rig(made).scenes[1].like == 11
    assert played(made, 12) == played(put_scene(RIG, 30, "New", quiet), 30)


def test_a_transposition_is_written_only_where_it_is_another() -> None:
    """Stored over a scene that is like another one, the inherited transposition is not said again."""
    both: dict[str, object] = {"play": [BASS, BRASS], "routes": [], "burst": []}
    third = put_scene(RIG, 13, "Encore", {**both, "transpose": -2}).partition('name = "Encore"')[2]
    assert "like" in third
    assert "transpose = -2\n" not in third
    moved = put_scene(RIG, 13, "Encore", {**both, "transpose": 3})
    assert rig(moved).scenes[2].like == "Finale"
    assert moved.partition('name = "Encore"')[2].count("transpose = 3\n") == 1


def test_what_cannot_be_said_as_a_difference_is_said_whole() -> None:
    """An inherited line without a name cannot be taken away, so the scene is no longer like another one."""
    made = put_scene(RIG, 13, "Encore", {"play": [BRASS], "routes": [], "burst": []})
    scene = rig(made).scenes[2]
    assert (scene.like, scene.tempo, scene.transpose) == (None, 126.0, 0)
    assert [each.send for each in scene.enter] == [("volume 90", "nrpn 1/8 = 64")]
    assert [line.name for line in scene.play] == ["brass"]


def test_storing_over_a_scene_keeps_its_other_keys() -> None:
    """Cue, text, tempo and what is sent stay as they are written; without a transposition the key goes."""
    made = put_scene(RIG, 11, "Overture", {"play": [BASS, BRASS], "routes": [], "burst": []})
    was, now = rig(RIG).scenes[0], rig(made).scenes[0]
    assert now == was.model_copy(update={"transpose": 0, "play": now.play})
    assert made == RIG.replace("transpose = -2\n", "")


def test_routes_may_name_chains_in_edits() -> None:
    """A chain's name stands beside filters."""
    route = {"from": "keys", "to": "bass", "through": ["soft", {"filter": "transpose", "semitones": 1}]}
    assert [str(each)[:4] for each in rig(set_routes(RIG, 13, [route])).scenes[2].routes[0].through] == ["soft", "filt"]
