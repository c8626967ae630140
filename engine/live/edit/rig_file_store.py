"""A rig file and its versions as the workshop needs them: read, compared and written with proof, in worker threads."""

from pathlib import Path
from typing import Any, NamedTuple

from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.rig.edit import differences
from engine.rig.edit.versions import RigVersions
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read, text_of


class SavedFile(NamedTuple):
    """A file that was written and read back."""

    rig: Rig
    changes: list[str]  # against what the file held before, a sentence each


class RigFileStore:
    """One rig file. Loop only; what blocks goes through threads."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._versions = RigVersions(file)

    async def present(self) -> str | None:
        """What the file holds, whether or not it is UTF-8; None if there is none. Raises SaveFault."""
        return await to_its_end(self._versions.present)

    async def proper(self) -> str:
        """What the file holds. Raises RigError if it cannot be read as UTF-8."""
        return await to_its_end(text_of, self.file)

    async def keep(self, text: str) -> int:
        """Make a text the newest version; its number. Raises SaveFault."""
        return await in_a_thread(self._versions.keep, text)

    async def former(self, number: int | None) -> str:
        """A version by its number; without one the newest that is not in the file. Raises SaveFault."""
        if number is None:
            return await to_its_end(self._versions.undo)
        return await to_its_end(self._versions.text, number)

    async def listed(self) -> list[dict[str, Any]]:
        """The versions, newest first. Raises SaveFault."""
        versions = await to_its_end(self._versions.list)
        return [{"number": each.number, "time": each.time, "bytes": each.size} for each in versions]

    async def write(self, text: str, expected: str | None) -> SavedFile:
        """Write the file and read it back; `expected` is what it holds, None if there is none.

        Raises SaveFault; RigError if what it holds then is no rig.
        """
        return await to_its_end(self._write, text, expected)

    def _write(self, text: str, expected: str | None) -> SavedFile:  # worker thread
        swept = self._versions.save(text, expected)
        rig = read(text_of(self.file), str(self.file))
        told = [f"{name}, left half-written by a save that was killed, was taken away" for name in swept]
        return SavedFile(rig, self._changes(expected, rig) + told)

    def _changes(self, before: str | None, rig: Rig) -> list[str]:  # worker thread
        if before is None:
            return ["the file was not there, and is new"]
        try:
            told = differences.rigs(read(before, str(self.file)), rig)
        except RigError:
            return ["what it held before was no rig that can be played, and is kept as the newest version"]
        return told or ["nothing that is played, only how it is written"]


def lines(old: str, new: str, from_name: str, to_name: str) -> str:
    """What differs between two texts, line by line; signs that are not UTF-8 are shown as one that stands for them."""
    shown = differences.text(old, new, from_name, to_name)
    return shown.encode("utf-8", errors="surrogateescape").decode("utf-8", errors="replace")
