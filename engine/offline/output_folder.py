"""The folder that a rehearsal writes to; files that are not its own are left alone."""

import hashlib
import json
import os
import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

REPORT: Final = "report.json"
PAGE: Final = "report.html"
_PLAIN: Final = " !#&'()+,-=@[]_{}~."  # in addition to letters and digits
_LONGEST: Final = 120  # bytes of a file name; file systems allow 255
_DEVICES: Final = frozenset(
    ("con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10)))
)


class OutputFolderError(Exception):
    """Nothing was written; the text says why in one sentence."""


def file_names(outputs: Iterable[str]) -> dict[str, str]:
    """A file name for each output, safe on every system, and unique even where case is ignored."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for output in outputs:
        safe = _safe(output)
        name, number = safe, 1
        while name.casefold() in taken:
            number += 1
            name = f"{safe}~{number}"
        taken.add(name.casefold())
        found[output] = f"{name}.mid"
    return found


def _safe(name: str) -> str:
    name = unicodedata.normalize("NFC", name)
    text = "".join(each if each.isalnum() or each in _PLAIN else quote(each, safe="") for each in name)
    if text.startswith((".", " ", "~", "-")) or text.split(".")[0].casefold() in _DEVICES:
        text = f"_{text}"
    while len(text.encode()) > _LONGEST:
        text = text[: len(text) - 1]
    return text if text[-1] not in ". " else f"{text}_"


def refuse(folder: Path, names: Iterable[str]) -> None:
    """Raise OutputFolderError if one of these files exists and is not as a rehearsal left it."""
    if folder.exists() and not folder.is_dir():
        raise OutputFolderError(f"{folder} is a file and was left alone; give a folder")
    ours = _ours(folder)
    for name in (*names, PAGE):
        file = folder / name
        if os.path.lexists(file) and (not file.is_file() or digest(file.read_bytes()) != ours.get(name)):
            raise OutputFolderError(f"{file} is not as a rehearsal left it and was left alone; choose another folder")
    if os.path.lexists(folder / REPORT) and not ours:
        raise OutputFolderError(
            f"{folder / REPORT} is not the report of a rehearsal and was left alone; choose another folder"
        )


def digest(content: bytes) -> str:
    """SHA-256, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def _ours(folder: Path) -> dict[str, str]:
    """The files that the report in a folder lists, with their digests; none if there is no report."""
    try:
        files = json.loads((folder / REPORT).read_text(encoding="utf-8"))["files"]
        return {str(name): str(mark) for name, mark in files.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def write(folder: Path, files: Mapping[str, bytes], report: dict[str, Any]) -> list[str]:
    """Write these files and the report, each in one step, and remove files of an earlier rehearsal that are left over.

    Files that were changed since are left alone; returns sentences about them. Raises OutputFolderError.
    """
    refuse(folder, files)
    before = _ours(folder)
    left_alone = []
    report = {**report, "files": {name: digest(content) for name, content in files.items()}}
    whole = {**files, REPORT: json.dumps(report, indent=1, ensure_ascii=False).encode("utf-8", "backslashreplace")}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in whole.items():
            temporary = folder / f".{name}.{os.getpid()}"
            try:
                temporary.write_bytes(content)
                temporary.replace(folder / name)
            finally:
                temporary.unlink(missing_ok=True)
        for name in before.keys() - files.keys():
            left_alone += _clear_away(folder / Path(name).name, before[name])
    except OSError as fault:
        raise OutputFolderError(f"{folder} cannot be written: {fault.strerror}") from None
    return left_alone


def _clear_away(file: Path, mark: str) -> list[str]:
    """Remove a file of an earlier rehearsal whose output no longer exists, unless it was changed."""
    if not file.is_file():
        return []
    if digest(file.read_bytes()) != mark:
        return [f"{file} was left alone: an earlier rehearsal wrote it, and it was changed since"]
    file.unlink()
    return []
