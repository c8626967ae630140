"""Saving a rig file so that no text is ever lost, and the versions kept beside it.

The file is replaced in one step by a finished one, so whatever fails or is killed half-way, the old file or the new one
stands there whole. Versions are files in a hidden folder beside it, numbered from 1, the oldest dropped at 50.
"""

import contextlib
import os
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

from engine import durable_files

KEPT: Final = 50
_UNFINISHED: Final = ".saving"  # how the names of files end that are being written
_MODE: Final = 0o644  # of a file that was not there
_BOM: Final = b"\xef\xbb\xbf"


class SaveError(Exception):
    """A file was not saved, or a version is not there; one sentence says why."""


class RigVersion(NamedTuple):
    """One text that is kept."""

    number: int
    time: str  # local, YYYY-MM-DD HH:MM:SS
    size: int  # bytes


class RigVersions:
    """A rig file and its former texts. Blocking; symbolic links are followed to the file they lead to at the time."""

    def __init__(self, path: Path) -> None:
        self._named = os.path.abspath(path)

    @property
    def path(self) -> Path:
        """The file itself."""
        return Path(os.path.realpath(self._named))

    @property
    def _folder(self) -> Path:
        path = self.path
        return path.with_name(f".{path.name}.versions")

    def present(self) -> str | None:
        """What the file holds, plain, bytes that are not UTF-8 as surrogates; None if there is no file.

        Raises SaveFault.
        """
        try:
            return plain(_decoded(self.path.read_bytes()))
        except FileNotFoundError:
            return None
        except OSError as fault:
            raise SaveError(f"{self.path} cannot be read: {_reason(fault)}") from None

    def save(self, text: str, expected: str | None) -> list[str]:
        """Write the file, its present text kept as a version first; `expected` is that text, None if there is no file.

        A BOM and the kind of line end of the file stay, whichever kind `text` and `expected` have. The answer names the
        files that a save which was killed had left half-written, and that are taken away now.
        Raises SaveFault, and then the old file is intact, unless the sentence says that the new one is written.
        """
        try:
            made, swept = self._save(text, expected)
        except OSError as fault:
            raise SaveError(f"{self.path} could not be saved, and stays as it was: {_reason(fault)}") from None
        try:
            back = self.path.read_bytes()
        except OSError as fault:
            raise SaveError(
                f"{self.path} was written but cannot be read back, and its former text is the newest version: "
                + _reason(fault)
            ) from None
        if back != made:
            raise SaveError(
                f"{self.path} was written but does not read back so, and its former text is the newest version"
            )
        return swept

    def keep(self, text: str) -> int:
        """Make a text the newest version, and give its number; the file stays as it is. Raises SaveFault."""
        try:
            self._sweep()
            there = self.path.exists()
            present, mode = (self.path.read_bytes(), self._mode()) if there else (b"", _MODE)
            return self._keep(_as_file(text, present), mode)
        except OSError as fault:
            raise SaveError(f"no version of {self.path} could be kept: {_reason(fault)}") from None

    def _save(self, text: str, expected: str | None) -> tuple[bytes, list[str]]:
        """Write the file; what was written, and what was swept away."""
        present = self._expected_bytes(expected)
        swept = self._sweep()
        made, mode = _as_file(text, present or b""), _MODE
        if present is not None:
            mode = self._mode()
            if not mode & 0o222 or not os.access(self.path, os.W_OK):
                raise SaveError(f"{self.path} is read-only and stays as it was; allow writing to it first")
            self._keep(present, mode)
        self._put(self.path, made, mode, expected)
        return made, swept

    def _mode(self) -> int:
        return self.path.stat().st_mode & 0o7777

    def _sweep(self) -> list[str]:
        """Take away what a save that was killed half-way left lying; the names of it."""
        swept = []
        for folder, start in ((self.path.parent, f".{self.path.name}."), (self._folder, ".")):
            if folder.is_dir():
                for file in folder.iterdir():
                    if file.name.startswith(start) and file.name.endswith(_UNFINISHED):
                        file.unlink(missing_ok=True)
                        swept.append(file.name)
        return swept

    def _expected_bytes(self, expected: str | None) -> bytes | None:
        """What the file holds. Raises SaveFault if that is not what is expected."""
        try:
            present = self.path.read_bytes()
        except FileNotFoundError:
            present = None
        if (None if present is None else plain(_decoded(present))) != (None if expected is None else plain(expected)):
            raise SaveError(
                f"{self.path} has changed on the disk since it was loaded; both texts were left as they are"
            )
        return present

    def _put(self, path: Path, made: bytes, mode: int, expected: str | None) -> None:
        """Replace a file by a finished one in one step."""
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_UNFINISHED, dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(made)
                durable_files.flush(file)
            self._give_to_owner(Path(name))
            os.chmod(name, mode)
            if Path(name).read_bytes() != made:
                raise SaveError(f"{path} stays as it was, for the disk did not give back what was written to it")
            if path == self.path:
                self._expected_bytes(expected)  # nobody may have written meanwhile
            durable_files.rename(Path(name), path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _give_to_owner(self, made: Path) -> None:
        """Where root saves a file of somebody else it stays theirs; others may not give files away, and need not."""
        with contextlib.suppress(OSError):
            file, new = self.path.stat(), made.stat()
            if (file.st_uid, file.st_gid) != (new.st_uid, new.st_gid):
                os.chown(made, file.st_uid, file.st_gid)

    # Versions

    def _keep(self, present: bytes, mode: int) -> int:
        numbers = self._numbers()
        if numbers and self._file(numbers[-1]).read_bytes() == present:
            return numbers[-1]
        if not self._folder.is_dir():
            self._folder.mkdir(mode=0o700)
            self._give_to_owner(self._folder)
            durable_files.flush_folder(self.path.parent)
        number = numbers[-1] + 1 if numbers else 1
        self._put(self._file(number), present, mode, None)
        for old in [*numbers, number][:-KEPT]:
            self._file(old).unlink(missing_ok=True)
        return number

    def _numbers(self) -> tuple[int, ...]:
        if not self._folder.is_dir():
            return ()
        return tuple(sorted(int(file.stem) for file in self._folder.glob("*.toml") if file.stem.isdecimal()))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number:06}.toml"

    def text(self, number: int) -> str:
        """The text of a version, plain. Raises SaveFault."""
        try:
            return plain(_decoded(self._file(number).read_bytes()))
        except OSError:
            raise SaveError(f"there is no version {number} of {self.path}; bayleaf save --history lists them") from None

    def undo(self) -> str:
        """The newest version that is not the present text; saving it can be undone likewise. Raises SaveFault."""
        present = self.present()
        for number in [version.number for version in self.list()]:
            text = self.text(number)
            if text != present:
                return text
        raise SaveError(f"there is no version of {self.path} before the present one")

    def list(self) -> tuple[RigVersion, ...]:
        """All versions, newest first. Raises SaveFault."""
        try:
            return self._listed()
        except OSError as fault:
            raise SaveError(f"the versions of {self.path} cannot be listed: {_reason(fault)}") from None

    def _listed(self) -> tuple[RigVersion, ...]:
        made = []
        for number in reversed(self._numbers()):
            facts = self._file(number).stat()
            time = datetime.fromtimestamp(facts.st_mtime).isoformat(" ", "seconds")
            made.append(RigVersion(number, time, facts.st_size))
        return tuple(made)


def _reason(fault: OSError) -> str:
    return fault.strerror or str(fault)


def _decoded(data: bytes) -> str:
    return data.decode("utf-8-sig", errors="surrogateescape")


def plain(text: str) -> str:
    """A text without a BOM, each line ended by one character."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _as_file(text: str, present: bytes) -> bytes:
    """The bytes of a text in the present file's way."""
    made = text.removeprefix("\ufeff")
    lines = present.count(b"\n")
    if lines and lines == present.count(b"\r\n"):
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    bom = _BOM if present.startswith(_BOM) or text.startswith("\ufeff") else b""
    return bom + made.encode("utf-8", errors="surrogateescape")
