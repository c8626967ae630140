"""Watches the sound lists and the included files that a rig names for edits while it plays."""

import os
from pathlib import Path

from engine.rig.models.rig import Rig
from engine.rig.read.sound_list import shipped

Facts = tuple[int, int, int]  # time of the last change in ns, bytes, number of the file


def facts(file: Path) -> Facts | None:
    """Facts that change when a file is edited; None if there is no file."""
    try:
        found = os.stat(file)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class SoundLists:
    """Compares these files at each look. A missing one is about to be replaced, or not yet written."""

    def __init__(self, folder: Path) -> None:
        """`folder`: the rig file's, which its lists' names start from."""
        self._folder = folder
        self._ours = frozenset(shipped())
        self._watched: frozenset[str] = frozenset()
        self._seen: dict[str, Facts | None] = {}
        self._read: dict[str, Facts | None] = {}

    def watch(self, lists: frozenset[str]) -> None:
        """Watch these lists, too, which the text on the disk names. Call this before they are read."""
        self._watched = lists - self._ours
        for name in self._watched:
            self._read.setdefault(name, facts(self._folder / name))

    def edited(self, rig: Rig) -> bool:
        """Whether a list of this rig has changed since it was first seen, and not since the last look."""
        names = {gear.sounds_from for gear in rig.instruments.values() if gear.sounds_from}
        names |= {*rig.include, *self._watched}
        now = {name: facts(self._folder / name) for name in names - self._ours}
        new = {
            name: found
            for name, found in now.items()
            if found is not None and found == self._seen.get(name) and found != self._read.get(name, found)
        }
        self._seen = now
        self._read = {name: new.get(name, self._read.get(name, found)) for name, found in now.items()}
        return bool(new)
