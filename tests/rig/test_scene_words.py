"""The sentence about a scene that a rig does not have: which of the others it lists."""

import pytest

from engine.rig.models.rig import Rig
from engine.rig.read.load import load, read
from engine.rig.scene_words import listed_numbers, listed_scenes
from tests.support.paths import PRESETS


@pytest.fixture(scope="module")
def theatre() -> Rig:
    return load(PRESETS / "shows" / "theatre.toml")


def test_a_few_are_all_listed() -> None:
    """With commas between them, or semicolons where a name has a comma itself."""
    scenes = (f'[[scenes]]\nnumber = {n}\nname = "{name}"\n' for n, name in ((2, "Two"), (1, "One")))
    rig = "format = 1\n" + "".join(scenes)
    assert listed_scenes("Tow", read(rig, "rig").scenes) == "2 Two, 1 One"
    assert listed_scenes(9, read(rig.replace("Two", "Two, slow"), "rig").scenes) == "2 Two, slow; 1 One"


def test_of_many_those_near_the_number_are_listed(theatre: Rig) -> None:
    """Twelve of 120."""
    for wanted in (121, "121"):
        listed = listed_scenes(wanted, theatre.scenes)
        assert [each.split()[0] for each in listed.split("; ")] == [*map(str, range(109, 121))]
        assert listed.endswith(" and 108 more")


def test_of_many_those_with_the_letters_are_listed(theatre: Rig) -> None:
    """A part of a name lists the scenes that have it, whether in capitals or not."""
    listed = listed_scenes("DANCE", theatre.scenes).split("; ")
    assert len(listed) == 12
    assert all("dance" in each for each in listed)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [((), ""), ((1, 2, 3), "1, 2, 3"), ((11, 1, 2, 3, 4, 9), "11, 1–4, 9"), ((*range(1, 121), 200), "1–120, 200")],
)
def test_numbers_in_a_row_are_a_range(numbers: tuple[int, ...], words: str) -> None:
    """Four or more."""
    assert listed_numbers(numbers) == words
