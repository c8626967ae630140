"""A rig file and its versions: read, compared and written with proof, in worker threads."""

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
    changes: list[str]  # compared with the file before, one sentence each


class RigFileStore:
    """One rig file. Loop only; what blocks goes through threads."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._versions = RigVersions(file)

    async def present(self) -> str | None:
        """What the file holds, whether or not it is UTF-8; None if there is none. Raises SaveError."""
        return await to_its_end(self._versions.present)

    async def proper(self) -> str:
        """What the file holds. Raises RigError if it cannot be read as UTF-8."""
        return await to_its_end(text_of, self.file)

    async def keep(self, text: str) -> int:
        """Make a text the newest version; its number. Raises SaveError."""
        return await in_a_thread(self._versions.keep, text)

    async def former(self, number: int | None) -> str:
        """A version by its number; without one the newest that is not in the file. Raises SaveError."""
        if number is None:
            return await to_its_end(self._versions.undo)
        return await to_its_end(self._versions.text, number)

    async def listed(self) -> list[dict[str, Any]]:
        """The versions, newest first. Raises SaveError."""
        versions = await to_its_end(self._versions.list)
        return [{"number": each.number, "time": each.time, "bytes": each.size} for each in versions]

    async def write(self, text: str, expected: str | None) -> SavedFile:
        """Write the file and read it back; `expected` is what it holds, None if there is none.

        Raises SaveError; RigError if the file then does not hold a valid rig.
        """
        return await to_its_end(self._write, text, expected)

    def _write(self, text: str, expected: str | None) -> SavedFile:  # worker thread
        swept = self._versions.save(text, expected)
        rig = read(text_of(self.file), str(self.file))
        removed = [f"{name}, left half-written by an interrupted save, was removed" for name in swept]
        return SavedFile(rig, self._changes(expected, rig) + removed)

    def _changes(self, before: str | None, rig: Rig) -> list[str]:  # worker thread
        if before is None:
            return ["the file is new"]
        try:
            changes = differences.rigs(read(before, str(self.file)), rig)
        except RigError:
            return ["the file did not hold a valid rig; its text is kept as the newest version"]
        return changes or ["nothing that is played, only the way it is written"]


def lines(old: str, new: str, from_name: str, to_name: str) -> str:
    """What differs between two texts, line by line; bytes that are not UTF-8 are shown as a replacement character."""
    shown = differences.text(old, new, from_name, to_name)
    return shown.encode("utf-8", errors="surrogateescape").decode("utf-8", errors="replace")
