"""What an edit says of the other parts of a rig that name the scene. (Our own design: no outside source.)"""

import pytest

from engine.rig.edit.scene_references import following_name, following_number, left
from engine.rig.models.rig import Rig
from engine.rig.read.load import read

SHOW = """
format = 1
[rig]
start = "Finale"
[inputs]
pedals = { port = "Foot controller*" }
[outputs]
strings = { port = "Box*1" }
[[scenes]]
number = 11
name = "Overture"
[[scenes]]
number = 12
name = "Finale"
[[setlists]]
name = "Friday"
scenes = [11, "Finale", 11, "Finale"]
[[setlists]]
name = "Matinee"
scenes = ["Finale"]
[[setlists]]
name = "Short"
scenes = [11]
[[controls]]
input = "pedals"
when = { controller = 80 }
do = "scene"
scene = "Finale"
[[controls]]
input = "pedals"
when = { controller = 81 }
do = "next"
"""


def show(more: str = "") -> Rig:
    return read(SHOW + more, "pit.toml")


def test_who_follows_a_name() -> None:
    """The start, set lists and controls that use the scene's name, each once; nothing if only its number is used."""
    assert following_name(show(), 12) == ", also in start, set list Friday, set list Matinee and control 1"
    assert following_name(show(), 11) == ""
    assert following_name(show(), 13) == ""


def test_who_follows_a_number() -> None:
    """The set lists that use the scene's number, two of them joined by "and"."""
    assert following_number(show(), 11, 21) == ", also in set list Friday and set list Short"
    assert following_number(show(), 12, 21) == ""


def test_one_user_alone() -> None:
    """A single part needs no "and"."""
    rig = read(SHOW.replace('name = "Short"\nscenes = [11]', 'name = "Short"\nscenes = ["Finale"]'), "pit.toml")
    assert following_number(rig, 11, 21) == ", also in set list Friday"


@pytest.mark.parametrize(
    ("when", "new", "words"),
    [
        ('program = "any"', 1, "now recalls it with program 1"),
        ('program = "any"', 128, "now recalls it with program 128"),
        ('program = "any"', 129, "cannot recall it"),
        ("program = [20, 30]", 20, "now recalls it with program 20"),
        ("program = [20, 30]", 30, "now recalls it with program 30"),
        ("program = [20, 30]", 19, "cannot recall it"),
        ("program = [20, 30]", 31, "cannot recall it"),
        ('song = "any"', 128, "now recalls it with song 128"),
    ],
)
def test_what_recalls_a_scene_by_its_new_number(when: str, new: int, words: str) -> None:
    """Programs and songs run from 1 to 128: a control for any of them, or for a range, says whether it reaches the
    scene."""
    rig = show(f'[[controls]]\ninput = "pedals"\nwhen = {{ {when} }}\ndo = "scene"\n')
    assert following_number(rig, 12, new) == f"; control 3 (pedals) {words}"


def test_the_set_lists_that_a_deleted_scene_has_left() -> None:
    """Set lists alone, whether they used its name or its number."""
    assert left(show(), 11) == " and removed from set list Friday and set list Short"
    assert left(show(), 12) == " and removed from set list Friday and set list Matinee"
    assert left(show(), 13) == ""
    assert left(read(SHOW.replace('"Finale", 11, "Finale"]', "11]").replace('["Finale"]', "[11]"), "pit"), 12) == ""
