"""The state file, which an engine keeps from one start to the next: last scenes, and the places in set lists."""

import json
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any, Final

import platformdirs
import trio

from engine import durable_files
from engine.core.control.setlist import LAST_STEP, ShowPosition
from engine.live.process.worker_threads import to_its_end
from engine.renames import rename_new

_APP: Final = "bayleaf"
_FORMAT: Final = 2


def state_file(name: str) -> Path:
    """Where the engine of this name keeps its state."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{name}.json"


def draft_file(name: str) -> Path:
    """Where the engine of this name keeps a rig that the player has given no file."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{name}.draft.toml"


#: where a show is, by player with scenes of their own; "" is the rest of the rig
Positions = Mapping[str, ShowPosition]


class _UnreadableStateError(Exception):
    """The state file is there and cannot be used; the text says why, after its name."""


def read_last(path: Path, rig: Path) -> Positions:
    """Where the show of this rig file was, as far as that is known."""
    try:
        kept, file = _state(path), str(rig.resolve())
    except (OSError, _UnreadableStateError):
        return {}
    players = kept["players"].get(file)
    listed = {"": kept["shows"].get(file), **(players if isinstance(players, dict) else {})}
    return {player: position for player, found in listed.items() if (position := _position(found)) is not None}


def set_aside(path: Path) -> str | None:
    """Keep a state file that cannot be used under another name; a sentence, None if it can be used. Raises OSError."""
    try:
        _state(path)
    except _UnreadableStateError as fault:
        reason = str(fault)
    else:
        return None
    for number in count(1):
        aside = path.with_name(f"{path.name}.kept-{number}")
        with suppress(FileExistsError):
            rename_new(path, aside)
            break
    return f"{path} {reason}; it is kept as {aside.name}, and the last scenes in it are not used"


def write_last(path: Path, rig: Path, positions: Positions) -> str | None:
    """Write this down; a crash leaves the old state or the new. One engine of a name runs at a time.

    What cannot be used of an earlier state is kept: the sentence that says so, or None. Raises OSError.
    """
    kept = set_aside(path)
    before, file = _state(path), str(rig.resolve())
    own = {player: position for player, position in positions.items() if player}
    shows = before["shows"] | ({file: positions[""]} if "" in positions else {})
    players = {each: its for each, its in before["players"].items() if each != file} | ({file: own} if own else {})
    state = {"format": _FORMAT, "shows": shows} | ({"players": players} if players else {})
    durable_files.replace(path, json.dumps(state).encode())
    return kept


def _state(path: Path) -> dict[str, dict[str, Any]]:
    """Shows and players by rig file, as written there; empty if there is no file. Raises _UnreadableStateError and
    OSError."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {"shows": {}, "players": {}}
    except IsADirectoryError:
        raise
    except OSError as fault:
        raise _UnreadableStateError(f"cannot be read ({fault.strerror})") from None
    except (ValueError, RecursionError):
        raise _UnreadableStateError("is damaged") from None
    if isinstance(found, dict) and isinstance(form := found.get("format"), int) and form > _FORMAT:
        raise _UnreadableStateError(f"was written by a newer Bayleaf (format {form})")
    if not isinstance(found, dict) or not isinstance(shows := found.get("shows"), dict):
        raise _UnreadableStateError("is damaged")
    players = found.get("players", {})
    return {"shows": shows, "players": players if isinstance(players, dict) else {}}


def _position(kept: Any) -> ShowPosition | None:
    """One of three values is that of a version which knew no songs."""
    if not isinstance(kept, list) or [type(each) for each in kept] not in ([int, str, int], [int, str, int, str, int]):
        return None
    found = ShowPosition(*kept)
    return found if abs(found.step) <= LAST_STEP else None


class LastSceneWriter:
    """Writes down where a show is, always the latest position, in a thread: a slow disk does not hold up the music."""

    def __init__(self, path: Path, rig_file: Path, say: Callable[[str], None]) -> None:
        """`path` is the state file; `say` gets a sentence for the player if it cannot be written."""
        self._path = path
        self._rig_file = rig_file
        self._say = say
        self._to_write: Positions | None = None
        self._moved = trio.Event()
        self._written = trio.Event()
        self._written.set()
        self._writing = threading.Lock()  # a try that was abandoned on a slow disk may still be under way

    def follow(self, rig_file: Path) -> None:
        """The rig has another file from now on."""
        self._rig_file = rig_file

    def last(self) -> Positions:
        """Where the show was when it was last written down, as far as that is known."""
        try:
            kept = set_aside(self._path)
        except OSError as fault:
            kept = f"the last scene could not be read ({fault.strerror}: {self._path})"
        if kept is not None:
            self._say(kept)
        return read_last(self._path, self._rig_file)

    def note(self, positions: Positions) -> None:
        """The show is here now."""
        self._to_write = positions
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
        positions = self._to_write
        if positions is None:
            return
        try:
            kept = await to_its_end(self._write_alone, positions)
            if kept is not None:
                self._say(kept)
            if self._to_write is positions:
                self._to_write = None
        except OSError as fault:  # tried again with the next scene, or at the end
            self._say(f"the last scene could not be written down ({fault.strerror}: {self._path})")

    def _write_alone(self, positions: Positions) -> str | None:
        with self._writing:
            return write_last(self._path, self._rig_file, positions)
