"""The state file, which an engine keeps from one start to the next: its last scene and the place in the set list."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import platformdirs
import trio

from engine import durable_files
from engine.core.control.setlist import ShowPosition
from engine.live.process.worker_threads import to_its_end

_APP: Final = "bayleaf"


def state_file(name: str) -> Path:
    """Where the engine of this name keeps its state."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{name}.json"


def read_last(path: Path, rig: Path) -> ShowPosition | None:
    """Where the show of this rig file was, or None if that is not known."""
    return _all(path).get(str(rig.resolve()))


def _all(path: Path) -> dict[str, ShowPosition]:
    """By rig file; empty if the state file cannot be read or is not ours."""
    try:
        listed = json.loads(path.read_text(encoding="utf-8"))["shows"]
        return {rig: position for rig, kept in listed.items() if (position := _position(kept)) is not None}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}


def _position(kept: Any) -> ShowPosition | None:
    if not isinstance(kept, list) or [type(each) for each in kept] != [int, str, int]:
        return None
    return ShowPosition(*kept)


def write_last(path: Path, rig: Path, position: ShowPosition) -> None:
    """Write this down; a crash leaves the old state or the new. One engine of a name runs at a time. Raises OSError."""
    shows = _all(path) | {str(rig.resolve()): position}
    durable_files.replace(path, json.dumps({"format": 2, "shows": shows}).encode())


class LastSceneWriter:
    """Writes down where a show is, always the latest position, in a thread: a slow disk does not hold up the music."""

    def __init__(self, path: Path, rig_file: Path, say: Callable[[str], None]) -> None:
        """`path` is the state file; `say` gets a sentence for the player if it cannot be written."""
        self._path = path
        self._rig_file = rig_file
        self._say = say
        self._to_write: ShowPosition | None = None
        self._moved = trio.Event()
        self._written = trio.Event()
        self._written.set()

    def note(self, position: ShowPosition) -> None:
        """The show is here now."""
        self._to_write = position
        self._moved.set()
        if self._written.is_set():
            self._written = trio.Event()

    async def written(self) -> None:
        """Wait until the latest position is written down, or could not be."""
        await self._written.wait()

    async def run(self) -> None:
        """Write each time the show has moved. Runs until cancelled."""
        while True:
            await self._moved.wait()
            self._moved = trio.Event()
            await self.write()
            if not self._moved.is_set():
                self._written.set()

    async def write(self) -> None:
        """Write the latest position down, if that is still to be done."""
        position, self._to_write = self._to_write, None
        if position is None:
            return
        try:
            await to_its_end(write_last, self._path, self._rig_file, position)
        except OSError as fault:
            if self._to_write is None:
                self._to_write = position  # tried again with the next scene, or at the end
            self._say(f"the last scene could not be written down ({fault.strerror}: {self._path})")
