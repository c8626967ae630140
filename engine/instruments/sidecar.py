"""A dump and the note beside it: where it came from, when, what it holds, and its SHA-256."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from engine.instruments import dump_files


def sidecar(path: Path) -> Path:
    """Where the note of this dump lies: organ.syx has organ.syx.json."""
    return path.with_name(path.name + ".json")


def refuse(path: Path) -> None:
    """Raise DumpFault if a dump and its note could not be written here, before an instrument is asked for one."""
    dump_files.refuse(path)
    dump_files.free(sidecar(path))


def keep(
    path: Path, messages: Sequence[bytes], port: str, at: datetime, more: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Write a dump and its note as new files; the note. Raises DumpFault, and then neither is there.

    `port`: the rig's name of the input; `more`: identity, instrument and request, as far as they are known.
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
        # a file's name may be no Unicode: such a sign is escaped, as JSON has it
        text = json.dumps(note, indent=2, ensure_ascii=False).encode(errors="backslashreplace")
        dump_files.write_new(sidecar(path), text + b"\n")
    except dump_files.DumpFileError:
        path.unlink(missing_ok=True)
        raise
    return note
