"""What an engine remembers from one start to the next: its last scene."""

import contextlib
import json
import os
from pathlib import Path
from typing import Final

import platformdirs

_APP: Final = "bayleaf"


def state_file(name: str) -> Path:
    """Where the engine of this name keeps its state."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{name}.json"


def read_last_scene(path: Path, rig: Path) -> int | None:
    """The number of the last scene of this rig file, or None if none can be told."""
    return _last_scenes(path).get(str(rig.resolve()))


def _last_scenes(path: Path) -> dict[str, int]:
    """Scene numbers by rig file; none where the state cannot be read or is not ours."""
    try:
        listed = json.loads(path.read_text(encoding="utf-8"))["scenes"]
        return {rig: number for rig, number in listed.items() if type(number) is int}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}


def write_last_scene(path: Path, rig: Path, number: int) -> None:
    """Write the last scene down: temporary file, fsync, rename, so that a crash leaves the old state or the new.

    One engine of a name runs at a time, so what a crash left of a temporary file is written over by the next one.
    Raises OSError, and leaves the old state as it was.
    """
    scenes = _last_scenes(path) | {str(rig.resolve()): number}
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.new")
    try:
        with temporary.open("w", encoding="utf-8") as file:
            json.dump({"format": 1, "scenes": scenes}, file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Make the rename itself last, where the system lets a folder be synced."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
