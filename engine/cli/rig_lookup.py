"""Scenes, inputs and machines of a rig, found by what the player typed; otherwise an error that lists what there is."""

from difflib import get_close_matches
from pathlib import Path
from typing import Final

from engine.cli.output import CommandError
from engine.rig.models.rig import Rig, Scene

_SHOWN: Final = 40  # scenes in a sentence


def scene_of(rig: Rig, wanted: int | str, file: Path) -> Scene:
    """The scene with this number or name. Raises CommandError."""
    found = rig.scene(wanted)
    if found is not None:
        return found
    names = {scene.name.casefold(): scene.name for scene in rig.scenes}
    close = get_close_matches(str(wanted).casefold(), names, 1)
    remedy = f'did you mean "{names[close[0]]}"? ' if close else ""
    listed = ", ".join(f"{scene.number} {scene.name}" for scene in rig.scenes[:_SHOWN])
    more = f" and {len(rig.scenes) - _SHOWN} more" if len(rig.scenes) > _SHOWN else ""
    said = f'"{wanted}"' if isinstance(wanted, str) and not wanted.isdecimal() else wanted
    raise CommandError(f"there is no scene {said} in {file}; {remedy}it has {listed}{more}")


def check_input(rig: Rig, wanted: str, file: Path) -> None:
    """Raise CommandError unless the rig has an input of this name."""
    if wanted not in rig.inputs:
        raise CommandError(f'there is no input "{wanted}" in {file}; it has {", ".join(rig.inputs)}')


def as_machine(rig: Rig, machine: str | None) -> Rig:
    """The rig as seen from this machine; None is the one that the file names. Raises CommandError."""
    try:
        return rig if machine is None else rig.on(machine)
    except ValueError as fault:
        raise CommandError(str(fault)) from None
