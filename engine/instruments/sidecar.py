"""Saves a dump with a note beside it: its origin, time, size and SHA-256."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from engine.instruments import dump_files


def sidecar(path: Path) -> Path:
    """The path of the note of a dump: organ.syx has organ.syx.json."""
    return path.with_name(path.name + ".json")


def refuse(path: Path) -> None:
    """Raise DumpFileError if a dump and its note could not be written here; checked before the instrument is asked."""
    dump_files.refuse(path)
    dump_files.free(sidecar(path))


def keep(
    path: Path, messages: Sequence[bytes], port: str, at: datetime, more: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Write a dump and its note as new files, and return the note. Raises DumpFileError; then neither exists.

    `port`: the name of the input in the rig; `more`: identity, instrument and request, as far as known.
    """
    refuse(path)
    data = dump_files.encode(path, messages)
    note = {
        "file": path.name,
        "port": port,
        "time": at.isoformat(timespec="seconds"),
        "messages": len(messages),
        "bytes": sum(map(len, messages)),
        "sha256": hashlib.sha256(data).hexdigest(),
        **{key: value for key, value in (more or {}).items() if value is not None},
    }
    dump_files.write_new(path, data)
    try:
        # a file name may not be Unicode; such characters are escaped, as in JSON
        text = json.dumps(note, indent=2, ensure_ascii=False).encode(errors="backslashreplace")
        dump_files.write_new(sidecar(path), text + b"\n")
    except dump_files.DumpFileError:
        path.unlink(missing_ok=True)
        raise
    return note
