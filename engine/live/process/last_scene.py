"""What an engine remembers from one start to the next: its last scene, and the place in the set list."""

import json
from pathlib import Path
from typing import Any, Final

import platformdirs

from engine import durable_files
from engine.core.control.setlist import ShowPosition

_APP: Final = "bayleaf"


def state_file(name: str) -> Path:
    """Where the engine of this name keeps its state."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{name}.json"


def read_last(path: Path, rig: Path) -> ShowPosition | None:
    """Where the show of this rig file stood, or None if none can be told."""
    return _all(path).get(str(rig.resolve()))


def _all(path: Path) -> dict[str, ShowPosition]:
    """By rig file; none where the state cannot be read or is not ours."""
    try:
        listed = json.loads(path.read_text(encoding="utf-8"))["shows"]
        return {rig: standing for rig, kept in listed.items() if (standing := _standing(kept)) is not None}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}


def _standing(kept: Any) -> ShowPosition | None:
    if not isinstance(kept, list) or [type(each) for each in kept] != [int, str, int]:
        return None
    return ShowPosition(*kept)


def write_last(path: Path, rig: Path, standing: ShowPosition) -> None:
    """Write this down; a crash leaves the old state or the new. One engine of a name runs at a time. Raises OSError."""
    shows = _all(path) | {str(rig.resolve()): standing}
    durable_files.replace(path, json.dumps({"format": 2, "shows": shows}).encode())
