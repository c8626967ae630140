"""Saving a rig file so that no text is ever lost, and the versions kept beside it."""

from pathlib import Path
from typing import NamedTuple


class SaveFault(Exception):
    """A file was not saved, or a version is not there; one sentence says why."""


class Version(NamedTuple):
    number: int
    time: str  # local time, YYYY-MM-DD HH:MM:SS
    size: int  # bytes


def text_of(path: Path) -> str | None:
    """The exact text of a file, its line ends as they are, without a BOM; None if there is no such file. SaveFault."""
    raise NotImplementedError


class Versions:
    def __init__(self, path: Path) -> None:
        self.path = path

    def save(self, text: str, expected: str | None) -> None:
        raise NotImplementedError

    def text(self, number: int) -> str:
        raise NotImplementedError

    def undo(self) -> str:
        raise NotImplementedError

    def list(self) -> tuple[Version, ...]:
        """Newest first."""
        raise NotImplementedError
