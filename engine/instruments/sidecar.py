"""A dump and the note beside it: where it came from, when, what it holds, and its SHA-256."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from engine.instruments import files


def sidecar(path: Path) -> Path:
    """Where the note of this dump lies: organ.syx has organ.syx.json."""
    return path.with_name(path.name + ".json")


def keep(
    path: Path, messages: Sequence[bytes], port: str, at: datetime, more: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Write a dump and its note as new files; the note. Raises DumpFault, and then neither is there.

    `port`: the rig's name of the input; `more`: identity, instrument and request, as far as they are known.
    """
    note_file = sidecar(path)
    files.refuse(path)
    if note_file.exists():
        raise files.DumpFault(f"{note_file}: is there already, and nothing is overwritten; choose another name")
    data = files.encode(path, messages)
    note = {
        "file": path.name,
        "port": port,
        "time": at.isoformat(timespec="seconds"),
        "messages": len(messages),
        "bytes": sum(map(len, messages)),
        "sha256": hashlib.sha256(data).hexdigest(),
        **{key: value for key, value in (more or {}).items() if value is not None},
    }
    files.write_new(path, data)
    try:
        files.write_new(note_file, json.dumps(note, indent=2, ensure_ascii=False).encode() + b"\n")
    except files.DumpFault:
        path.unlink(missing_ok=True)
        raise
    return note
