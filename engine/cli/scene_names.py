"""What a player means by a name, or the sentence that there is nothing of that name."""

from difflib import get_close_matches
from pathlib import Path
from typing import Final

from engine.cli.output import CommandError
from engine.rig.models.rig import Rig, Scene

_SHOWN: Final = 40  # scenes in a sentence


def scene_of(rig: Rig, wanted: int | str, file: Path) -> Scene:
    """The scene of this number or name. Raises Fault."""
    found = rig.scene(wanted)
    if found is not None:
        return found
    names = {scene.name.casefold(): scene.name for scene in rig.scenes}
    close = get_close_matches(str(wanted).casefold(), names, 1)
    remedy = f'did you mean "{names[close[0]]}"? ' if close else ""
    listed = ", ".join(f"{scene.number} {scene.name}" for scene in rig.scenes[:_SHOWN])
    more = f" and {len(rig.scenes) - _SHOWN} more" if len(rig.scenes) > _SHOWN else ""
    raise CommandError(f"there is no scene {wanted} in {file}; {remedy}it has {listed}{more}")
