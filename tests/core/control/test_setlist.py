"""Moving through a set list. The promises are those of the handbook's page "set lists"; no outside source."""

import pytest

from engine.core.commands import ResumePosition
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from tests.support.engine_calls import apply, command, recall
from tests.support.pit_engine import MS, engine

SHOW = "".join(f'[[scenes]]\nnumber = {number}\nname = "S{number}"\n' for number in (11, 12, 14, 15))
FRIDAY = '[[setlists]]\nname = "Friday"\nscenes = [11, 12, 11, 14, 12]\n'
OTHERS = '[[setlists]]\nname = "Matinee"\nscenes = [14, 11]\n[[setlists]]\nname = "Encore"\nscenes = [15]\n'


def show(lists: str = FRIDAY + OTHERS) -> Engine:
    return engine(lists + SHOW)


def steps(made: Engine, *words: str) -> list[int]:
    """The scene in force after each of these commands: a word, a scene's number, or `entry N`."""
    found = []
    for at, word in enumerate(words):
        if word.isdecimal():
            recall(made, at * MS, int(word))
        else:
            what, _, entry = word.partition(" ")
            command(made, at * MS, what, int(entry) if entry else None, "test")
        assert made.scene is not None
        found.append(made.scene[0])
    return found


def test_next_and_back_go_through_the_list() -> None:
    """`next` recalls the entries in order, and `back` those before."""
    assert steps(show(), "first", "next", "next", "next", "next", "back") == [11, 12, 11, 14, 12, 14]


def test_first_goes_to_the_first_entry_and_the_show_goes_on_from_there() -> None:
    """After `first`, `next` recalls the second entry, wherever the show was before."""
    assert steps(show(), "entry 4", "first", "next", "next") == [14, 11, 12, 11]


def test_first_moves_the_place_even_if_its_scene_is_in_force_already() -> None:
    """From the third entry, which is the scene of the first one, `first` leads to the first entry."""
    assert steps(show(), "entry 3", "first", "next") == [11, 11, 12]


def test_an_entry_is_a_place_in_the_list() -> None:
    """After the fifth entry the list is at its end, after the second one it goes on with the third."""
    made = show()
    assert steps(made, "entry 5", "next") == [12, 12]
    assert steps(made, "entry 2", "next", "next") == [12, 11, 14]


@pytest.mark.parametrize("entry", [0, 6])
def test_an_entry_that_is_not_there_changes_nothing(entry: int) -> None:
    """The answer says which entries there are; the place stays."""
    made = show()
    steps(made, "entry 2")
    result = command(made, MS, "entry", entry, "test")[0]
    assert (result.done, result.text) == (
        False,
        f"there is no entry {entry} in set list Friday, only 1 to 5; nothing changed",
    )
    assert steps(made, "next") == [11]


def test_at_either_end_nothing_changes() -> None:
    """At the end `next` changes nothing and says so; so does `back` at the beginning."""
    made = show()
    assert steps(made, "entry 5") == [12]
    assert command(made, MS, "next", None, "test")[0].text == "already at the end of set list Friday"
    assert steps(made, "back") == [14]
    assert steps(made, "first") == [11]
    assert command(made, MS, "back", None, "test")[0].text == "already at the beginning of set list Friday"
    assert steps(made, "next") == [12]


def test_a_recall_moves_forward_to_the_next_occurrence_or_else_to_the_first() -> None:
    """A recall of any kind moves the place to that scene: forward to its next occurrence, or else to its first one."""
    assert steps(show(), "first", "next", "11", "next") == [11, 12, 11, 14], "forward to the third entry"
    assert steps(show(), "entry 4", "12", "back") == [14, 12, 14], "forward to the fifth"
    assert steps(show(), "entry 5", "11", "next") == [12, 11, 12], "none is left: the first one"


def test_a_recall_of_the_scene_in_force_stays_at_its_entry() -> None:
    """Recalling the scene that plays does not move on to its next occurrence."""
    assert steps(show(), "first", "11", "next") == [11, 11, 12]


def test_a_scene_that_is_not_in_the_list_leaves_the_place() -> None:
    """A scene played in between does not lose the place in the list."""
    assert steps(show(), "entry 2", "15", "next") == [12, 15, 11]


def test_without_a_set_list_the_scenes_follow_the_file() -> None:
    """Without any set list, `next` and `back` follow the order of the scenes in the file."""
    made = show("")
    assert steps(made, "first", "next", "next", "next", "back") == [11, 12, 14, 15, 14]
    steps(made, "15")
    assert command(made, MS, "next", None, "test")[0].text == "already at the end of the scenes"


def test_another_list_is_used_from_the_scene_in_force() -> None:
    """Switching does not change the scene; if the list has the current scene, the place is there, otherwise it is
    before the first entry."""
    made = show()
    steps(made, "14")
    result = command(made, MS, "setlist", "Matinee", "test")[0]
    assert result.text == "set list Matinee, next is scene 11 S11"
    assert made.scene == (14, "S14")
    assert steps(made, "next") == [11]
    assert command(made, MS, "setlist", "Encore", "test")[0].text == "set list Encore, next is scene 15 S15"
    assert steps(made, "next") == [15]
    assert command(made, MS, "setlist", "Encore", "test")[0].text == "set list Encore, last entry"


def resumed(scene: int, setlist: str, place: int) -> Engine:
    """A show that begins where an earlier one ended."""
    made = show()
    apply(made, 0, ResumePosition(ShowPosition(scene, setlist, place)))
    recall(made, MS, scene)
    return made


def test_the_place_is_remembered_with_the_scene() -> None:
    """The show goes on in the set list that was in use, from the entry where it was."""
    made = resumed(11, "Friday", 2)
    assert made.state.main.position == ShowPosition(11, "Friday", 2)
    assert steps(made, "next") == [14]
    made = resumed(14, "Matinee", 0)
    assert made.state.main.position == ShowPosition(14, "Matinee", 0)
    assert steps(made, "next") == [11]


def test_a_place_that_has_changed_is_found_by_its_scene() -> None:
    """If the list has another scene there by now, or is gone, the place is where the scene is."""
    assert resumed(14, "Friday", 1).state.main.position == ShowPosition(14, "Friday", 3)
    assert resumed(14, "Friday", 5).state.main.position == ShowPosition(14, "Friday", 3)
    assert resumed(14, "Friday", -1).state.main.position == ShowPosition(14, "Friday", 3)
    assert resumed(12, "Sunday", 4).state.main.position == ShowPosition(12, "Friday", 4)
