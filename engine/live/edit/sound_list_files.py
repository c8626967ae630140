"""The sound lists that a rig names, as files that may be edited while it plays."""

import os
from pathlib import Path

from engine.rig.models.rig import Rig
from engine.rig.read.sound_list import named, shipped

Facts = tuple[int, int, int]  # time of the last change in ns, bytes, number of the file


def facts(file: Path) -> Facts | None:
    """By what an edited file is told from the one before; None if there is none."""
    try:
        found = os.stat(file)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class SoundLists:
    """Looked at again and again. A list that is not there is about to be replaced, or still to come."""

    def __init__(self, folder: Path) -> None:
        """`folder` is the rig's, from which its lists are named."""
        self._folder = folder
        self._ours = frozenset(shipped())
        self._wanted: frozenset[str] = frozenset()
        self._seen: dict[str, Facts | None] = {}
        self._read: dict[str, Facts | None] = {}

    def want(self, text: str) -> None:
        """The lists that this text names count, too, though it may not play; to be called before the lists are read."""
        self._wanted = named(text) - self._ours
        for name in self._wanted:
            self._read.setdefault(name, facts(self._folder / name))

    def edited(self, rig: Rig) -> bool:
        """Whether a list of this rig has changed since the first look at it, and kept still since the last."""
        names = {gear.sounds_from for gear in rig.instruments.values() if gear.sounds_from} | self._wanted
        now = {name: facts(self._folder / name) for name in names - self._ours}
        new = {
            name: found
            for name, found in now.items()
            if found is not None and found == self._seen.get(name) and found != self._read.get(name, found)
        }
        self._seen = now
        self._read = {name: new.get(name, self._read.get(name, found)) for name, found in now.items()}
        return bool(new)
