"""Saving a rig file so that no text is ever lost, and the versions kept beside it.

The file is replaced in one step by a finished one, so whatever fails or is killed half-way, the old file or the new one
stands there whole. Versions are files in a hidden folder beside it, numbered from 1, the oldest dropped at 50.
"""

import os
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

KEPT: Final = 50
_BOM: Final = b"\xef\xbb\xbf"


class SaveFault(Exception):
    """A file was not saved, or a version is not there; one sentence says why."""


class Version(NamedTuple):
    """One text that is kept."""

    number: int
    time: str  # local, YYYY-MM-DD HH:MM:SS
    size: int  # bytes


class Versions:
    """A rig file and its former texts. Blocking; symbolic links are followed to the file."""

    def __init__(self, path: Path) -> None:
        self.path = Path(os.path.realpath(path))
        self._folder = self.path.with_name(f".{self.path.name}.versions")

    def save(self, text: str, expected: str | None) -> None:
        """Write the file, its present text kept as a version first; `expected` is that text, None if there is no file.

        A BOM and the kind of line end of the file stay, whichever kind `text` and `expected` have.
        Raises SaveFault, and then the old file is intact.
        """
        try:
            self._save(text, expected)
        except OSError as fault:
            raise SaveFault(f"{self.path} could not be saved, and stays as it was: {fault.strerror or fault}") from None

    def _save(self, text: str, expected: str | None) -> None:
        present = self._expected_bytes(expected)
        made = _as_file(text, present or b"")
        mode = 0o644
        if present is not None:
            mode = self.path.stat().st_mode & 0o7777
            if not mode & 0o222 or not os.access(self.path, os.W_OK):
                raise SaveFault(f"{self.path} is read-only and stays as it was; allow writing to it first")
            self._keep(present, mode)
        self._put(self.path, made, mode, expected)

    def _expected_bytes(self, expected: str | None) -> bytes | None:
        """What the file holds. Raises SaveFault if that is not what is expected."""
        try:
            present = self.path.read_bytes()
        except FileNotFoundError:
            present = None
        if (None if present is None else _plain(_decoded(present))) != (None if expected is None else _plain(expected)):
            raise SaveFault(
                f"{self.path} has changed on the disk since it was loaded; both texts were left as they are"
            )
        return present

    def _put(self, path: Path, made: bytes, mode: int, expected: str | None) -> None:
        """Replace a file by a finished one in one step."""
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".saving", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(made)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, mode)
            if Path(name).read_bytes() != made:
                raise SaveFault(f"{path} stays as it was, for the disk did not give back what was written to it")
            if path == self.path:
                self._expected_bytes(expected)  # nobody may have written meanwhile
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _settle(path.parent)
        if path.read_bytes() != made:
            raise SaveFault(f"{path} does not read back as it was written; the former text is the newest version")

    # Versions

    def _keep(self, present: bytes, mode: int) -> None:
        numbers = self._numbers()
        if numbers and self._file(numbers[-1]).read_bytes() == present:
            return
        self._folder.mkdir(mode=0o700, exist_ok=True)
        number = numbers[-1] + 1 if numbers else 1
        self._put(self._file(number), present, mode, None)
        for old in [*numbers, number][:-KEPT]:
            self._file(old).unlink(missing_ok=True)

    def _numbers(self) -> tuple[int, ...]:
        if not self._folder.is_dir():
            return ()
        return tuple(sorted(int(file.stem) for file in self._folder.glob("*.toml") if file.stem.isdecimal()))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number:06}.toml"

    def text(self, number: int) -> str:
        """The text of a version, without a BOM. Raises SaveFault."""
        try:
            return _decoded(self._file(number).read_bytes())
        except OSError:
            raise SaveFault(f"there is no version {number} of {self.path}; bayleaf save --history lists them") from None

    def undo(self) -> str:
        """The newest version that is not the present text; saving it can be undone likewise. Raises SaveFault."""
        try:
            present = _plain(_decoded(self.path.read_bytes()))
        except OSError:
            present = ""
        for number in reversed(self._numbers()):
            text = self.text(number)
            if _plain(text) != present:
                return text
        raise SaveFault(f"there is no version of {self.path} before the present one")

    def list(self) -> tuple[Version, ...]:
        """All versions, newest first."""
        made = []
        for number in reversed(self._numbers()):
            facts = self._file(number).stat()
            time = datetime.fromtimestamp(facts.st_mtime).isoformat(" ", "seconds")
            made.append(Version(number, time, facts.st_size))
        return tuple(made)


def _settle(folder: Path) -> None:
    """Make a rename last; a system that cannot do so for a folder has renamed all the same."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _decoded(data: bytes) -> str:
    return data.decode("utf-8-sig", errors="surrogateescape")


def _plain(text: str) -> str:
    return text.removeprefix("\ufeff").replace("\r\n", "\n")


def _as_file(text: str, present: bytes) -> bytes:
    """The bytes of a text in the present file's way."""
    made = text.removeprefix("\ufeff")
    lines = present.count(b"\n")
    if lines and lines == present.count(b"\r\n"):
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    bom = _BOM if present.startswith(_BOM) or text.startswith("\ufeff") else b""
    return bom + made.encode("utf-8", errors="surrogateescape")
