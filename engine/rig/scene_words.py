"""What is said about a scene that a rig does not have: the nearest name, and a list of those it has."""

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Final

from engine.rig.models.rig import Scene

_SHOWN: Final = 40  # scenes in a sentence


def nearest_scene(wanted: str, scenes: Sequence[Scene]) -> str | None:
    """The name that is most like this one, upper or lower case; None if none is like it."""
    names = {scene.name.casefold(): scene.name for scene in scenes}
    close = get_close_matches(wanted.casefold(), names, 1)
    return names[close[0]] if close else None


def listed_scenes(scenes: Sequence[Scene]) -> str:
    """The scenes by number and name; of very many the first ones."""
    listed = ", ".join(f"{scene.number} {scene.name}" for scene in scenes[:_SHOWN])
    return listed + (f" and {len(scenes) - _SHOWN} more" if len(scenes) > _SHOWN else "")
