"""Scenes, songs, inputs and machines of a rig, found by what the player typed; else an error that lists them."""

from pathlib import Path

from engine.cli.output import CommandError
from engine.rig.models.rig import Rig, Scene, SongTable
from engine.rig.read.raw_data import no_such
from engine.rig.scene_words import listed_scenes, nearest_scene


def scene_of(rig: Rig, wanted: int | str, file: Path) -> Scene:
    """The scene with this number or name. Raises CommandError."""
    found = rig.scene(wanted)
    if found is not None:
        return found
    near = nearest_scene(str(wanted), rig.scenes)
    remedy = f'did you mean "{near}"? ' if near else ""
    said = f'"{wanted}"' if isinstance(wanted, str) and not wanted.isdecimal() else wanted
    raise CommandError(f"there is no scene {said} in {file}; {remedy}it has {listed_scenes(wanted, rig.scenes)}")


def song_of(rig: Rig, wanted: str, file: Path) -> SongTable:
    """The song of this name. Raises CommandError."""
    songs = {song.name: song for song in rig.songs}
    if wanted not in songs:
        raise CommandError(f"{file}: {no_such('song', wanted, songs)}")
    return songs[wanted]


def check_input(rig: Rig, wanted: str, file: Path) -> None:
    """Raise CommandError unless the rig has an input of this name."""
    if wanted not in rig.inputs:
        raise CommandError(f"{file}: {no_such('input', wanted, rig.inputs)}")


def as_machine(rig: Rig, machine: str | None) -> Rig:
    """The rig as seen from this machine; None is the one that the file names. Raises CommandError."""
    try:
        return rig if machine is None else rig.on(machine)
    except ValueError as fault:
        raise CommandError(str(fault)) from None
