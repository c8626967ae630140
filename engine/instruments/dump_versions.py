"""Versions of dumps, kept by instrument: numbered, and never overwritten."""

import re
from pathlib import Path
from typing import Final

from engine.instruments.dump_files import DumpFileError

_PLAIN: Final = re.compile(r"[\w][\w .+-]{0,79}")
_NUMBERED: Final = re.compile(r"(\d{4,})\.syx")


def next_version(folder: Path, instrument: str) -> Path:
    """The file for this instrument's next dump, in its own folder below `folder`. Raises DumpFileError."""
    if not _PLAIN.fullmatch(instrument):
        raise DumpFileError(f'"{instrument}" cannot name a folder: use up to 80 letters, digits, spaces and hyphens')
    own = folder / instrument
    try:
        own.mkdir(parents=True, exist_ok=True)
        numbers = [int(match[1]) for file in own.iterdir() if (match := _NUMBERED.match(file.name))]
    except OSError as fault:
        raise DumpFileError(f"{own}: no dump can be saved there ({fault.strerror})") from None
    return own / f"{max(numbers, default=0) + 1:04}.syx"
