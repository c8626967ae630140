"""A rig file and its versions: read, compared and written with proof, beside the music."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from engine.live.edit import rig_texts
from engine.live.process.worker_process import WorkGivenUp
from engine.live.process.worker_threads import to_its_end
from engine.rig.edit.versions import RigVersions
from engine.rig.read.load import text_of


class RigFileStore:
    """One rig file. Loop only; what blocks goes through threads, and texts are read in the worker process."""

    def __init__(self, file: Path, elsewhere: Callable[..., Awaitable[Any]]) -> None:
        self.file = file
        self._elsewhere = elsewhere
        self._versions = RigVersions(file)

    async def present(self) -> str | None:
        """What the file holds, whether or not it is UTF-8; None if there is none. Raises SaveError."""
        return await to_its_end(self._versions.present)

    async def proper(self) -> str:
        """What the file holds. Raises RigError if it cannot be read as UTF-8."""
        return await to_its_end(text_of, self.file)

    async def keep(self, text: str) -> int:
        """Make a text the newest version; its number. Raises SaveError."""
        return await to_its_end(self._versions.keep, text)

    async def former(self, number: int | None) -> str:
        """A version by its number; without one the newest that is not in the file. Raises SaveError."""
        if number is None:
            return await to_its_end(self._versions.undo)
        return await to_its_end(self._versions.text, number)

    async def listed(self) -> list[dict[str, Any]]:
        """The versions, newest first. Raises SaveError."""
        versions = await to_its_end(self._versions.list)
        return [{"number": each.number, "time": each.time, "bytes": each.size} for each in versions]

    async def write(self, text: str, expected: str | None) -> list[str]:
        """Write the file and read it back; `expected` is what it holds, None if there is none.

        What that changes, one sentence each. Raises SaveError.
        """
        swept = await to_its_end(self._versions.save, text, expected)
        try:
            changes: list[str] = await self._elsewhere(rig_texts.changes, expected, text, str(self.file))
        except WorkGivenUp:
            changes = ["they are too many to be listed"]
        return changes + [f"{name}, left half-written by an interrupted save, was removed" for name in swept]

    async def lines(self, old: str, new: str, from_name: str, to_name: str) -> str:
        """What differs between two texts, line by line; "" if nothing does."""
        try:
            shown: str = await self._elsewhere(rig_texts.lines, old, new, from_name, to_name)
        except WorkGivenUp:
            return "they differ in too much to be listed"
        return shown

    async def look(self, read: str | None, played: str) -> rig_texts.FileLook:
        """What the file holds, beside the text that was read from it last and the one that plays.

        Whoever wrote it, the engine takes nothing in but this answer. Raises RigError and WorkGivenUp.
        """
        found: rig_texts.FileLook = await self._elsewhere(rig_texts.looked_into, self.file, read, played)
        return found
