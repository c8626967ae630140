"""What is said about a scene that a rig does not have: the nearest name, and a list of those it has."""

from collections.abc import Sequence
from difflib import get_close_matches
from itertools import groupby
from typing import Final

from engine.rig.models.rig import Scene

_SHOWN: Final = 12  # scenes in a sentence, which is to fit on a small terminal
_RUN: Final = 4  # numbers in a row that are written as a range


def nearest_scene(wanted: str, scenes: Sequence[Scene]) -> str | None:
    """The name that is most like this one, upper or lower case; None if none is like it."""
    names = {scene.name.casefold(): scene.name for scene in scenes}
    close = get_close_matches(wanted.casefold(), names, 1)
    return names[close[0]] if close else None


def listed_scenes(wanted: int | str, scenes: Sequence[Scene]) -> str:
    """The scenes by number and name; of many, those most like what was asked for, in the order of the rig."""
    shown = set(sorted(range(len(scenes)), key=lambda place: _distance(wanted, scenes[place]))[:_SHOWN])
    listed = [f"{scene.number} {scene.name}" for place, scene in enumerate(scenes) if place in shown]
    between = "; " if any("," in each for each in listed) else ", "
    return between.join(listed) + (f" and {len(scenes) - _SHOWN} more" if len(scenes) > _SHOWN else "")


def _distance(wanted: int | str, scene: Scene) -> float:
    """How far a scene is from what was asked for: by number, or by whether its name has those letters."""
    if isinstance(wanted, int) or wanted.isdecimal():
        return abs(scene.number - int(wanted))
    return 0 if wanted.casefold() in scene.name.casefold() else 1


def listed_numbers(numbers: Sequence[int]) -> str:
    """Numbers in their order, with "1–120" for those that follow each other."""
    parts: list[str] = []
    for _, group in groupby(enumerate(numbers), key=lambda each: each[1] - each[0]):
        run = [number for _, number in group]
        parts += [f"{run[0]}–{run[-1]}"] if len(run) >= _RUN else map(str, run)
    return ", ".join(parts)
