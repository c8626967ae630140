"""Saving a rig file without ever losing a text, and the earlier versions kept beside it.

The file is replaced in one step by a finished one: whatever fails or is killed half-way, either the old file or the new
one is there, complete. Versions are files in a hidden folder beside it, numbered from 1; the newest 50 are kept.
"""

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

from engine import durable_files, renames
from engine.regular_files import read_regular
from engine.rig.edit.file_attributes import AttributesLost, open_to_editors, take_over
from engine.rig.read.toml_limits import LONGEST_TEXT

KEPT: Final = 50
_UNFINISHED: Final = ".saving"  # suffix of files that are being written
_MODE: Final = 0o644  # of a new file
_BOM: Final = b"\xef\xbb\xbf"


class SaveError(Exception):
    """A file was not saved, or there is no such version; one sentence says why."""


class RigVersion(NamedTuple):
    """An earlier text of the file."""

    number: int
    time: str  # local, YYYY-MM-DD HH:MM:SS
    size: int  # bytes


class RigVersions:
    """A rig file and its earlier versions. Blocking. A symbolic link is followed at each access."""

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
        """The text of the file, plain, bytes that are not UTF-8 as surrogates; None if there is no file.

        Raises SaveError.
        """
        try:
            return plain(_decoded(_read(self.path)))
        except FileNotFoundError:
            return None
        except OSError as fault:
            raise SaveError(f"{self.path} cannot be read: {_reason(fault)}") from None

    def save(self, text: str, expected: str | None) -> list[str]:
        """Keep the current text as a version, then write the file; `expected` is that text, None if there is no file.

        The file keeps its BOM and its kind of line end, whatever `text` and `expected` have. Returns the names of
        half-written files that an earlier, killed save had left and that were removed now.
        Raises SaveError; then the old file is intact, unless the sentence says that the new one is written.
        """
        try:
            made, swept = self._save(text, expected)
        except OSError as fault:
            raise SaveError(f"{self.path} could not be saved and is unchanged: {_reason(fault)}") from None
        try:
            back = _read(self.path)
        except OSError as fault:
            raise SaveError(
                f"{self.path} was written but cannot be read back; its previous text is the newest version: "
                + _reason(fault)
            ) from None
        if back != made:
            raise SaveError(
                f"{self.path} was written but reads back differently; its previous text is the newest version"
            )
        return swept

    def keep(self, text: str) -> int:
        """Make a text the newest version and return its number; the file is not changed. Raises SaveError."""
        try:
            self._sweep()
            return self._keep(_as_file(text, self._present_bytes()))
        except OSError as fault:
            raise SaveError(f"no version of {self.path} could be kept: {_reason(fault)}") from None

    def _present_bytes(self) -> bytes:
        """The bytes of the file; empty if it is missing or cannot be read."""
        try:
            return _read(self.path)
        except OSError:
            return b""

    def _save(self, text: str, expected: str | None) -> tuple[bytes, list[str]]:
        """Write the file; the bytes written, and the names of the removed half-written files."""
        present = self._expected_bytes(expected)
        swept = self._sweep()
        made = _as_file(text, present or b"")
        if present is not None and not (self.path.stat().st_mode & 0o222 and os.access(self.path, os.W_OK)):
            raise SaveError(f"{self.path} is read-only and is unchanged; make it writable first")
        with self._finished(self.path, made) as finished:
            if present is not None:
                self._keep(present)
            self._place(finished, made, expected)
        return made, swept

    def _sweep(self) -> list[str]:
        """Remove the half-written files of a killed save, and return their names."""
        swept = []
        for folder, start in ((self.path.parent, f".{self.path.name}."), (self._folder, ".")):
            if folder.is_dir():
                for file in folder.iterdir():
                    if file.name.startswith(start) and file.name.endswith(_UNFINISHED):
                        file.unlink(missing_ok=True)
                        swept.append(file.name)
        return swept

    def _expected_bytes(self, expected: str | None) -> bytes | None:
        """The bytes of the file. Raises SaveError if they are not what is expected."""
        try:
            present = _read(self.path)
        except FileNotFoundError:
            present = None
        if (None if present is None else plain(_decoded(present))) != (None if expected is None else plain(expected)):
            raise self._changed()
        return present

    def _changed(self) -> SaveError:
        return SaveError(f"{self.path} has changed on disk since it was loaded; neither text was changed")

    @contextmanager
    def _finished(self, path: Path, content: bytes) -> Iterator[Path]:
        """A finished file beside `path` that takes after the rig file; it is removed unless it was renamed."""
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_UNFINISHED, dir=path.parent)
        made = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                self._take_over(made, path == self.path)
                durable_files.flush(file)
            if made.read_bytes() != content:
                raise SaveError(f"{path} is unchanged: the disk did not return what was written to it")
            yield made
        finally:
            with suppress(OSError):  # the next save sweeps it
                made.unlink(missing_ok=True)

    def _take_over(self, made: Path, rig: bool) -> None:
        """A new rig file must have all of it; a version that cannot is better than none, and is its maker's alone."""
        try:
            take_over(made, self.path)
        except AttributesLost as fault:
            if rig:
                raise SaveError(f"{self.path} is unchanged: {fault}") from None
        except FileNotFoundError:
            os.chmod(made, _MODE)

    def _place(self, finished: Path, content: bytes, expected: str | None) -> None:
        """Put a finished file in the rig file's place, unless another program has written there meanwhile.

        The two files change places in one step, so that what is replaced can be looked at. Who had opened the old file
        before and writes into it after that look is not noticed; nor is anybody where files cannot change places, who
        writes between the last look and the rename.
        """
        self._expected_bytes(expected)
        if expected is None:
            renames.rename_new(finished, self.path)
        elif not renames.exchange(finished, self.path):
            durable_files.rename(finished, self.path)
        else:
            try:
                if not _holds(finished, expected):
                    raise self._changed()
            except (OSError, SaveError):
                self._put_back(finished, content)
                raise
        durable_files.flush_folder(self.path.parent)

    def _put_back(self, replaced: Path, content: bytes) -> None:
        """Undo the exchange with a file that must not be replaced; if that fails, its text becomes a version."""
        try:
            back = renames.exchange(replaced, self.path)
        except OSError:
            back = False
        what = f"{self.path} was replaced while another program wrote it; what that program wrote"
        try:
            if not back or _read(replaced) != content:  # or somebody has written once more
                self._keep(_read(replaced))
        except OSError as fault:
            raise SaveError(f"{what} could not be kept: {_reason(fault)}") from None
        if not back:
            raise SaveError(f"{what} is the newest version")

    # Versions

    def _keep(self, present: bytes) -> int:
        numbers = self._numbers()
        if numbers and _read(self._file(numbers[-1])) == present:
            return numbers[-1]
        self._make_folder()
        number = numbers[-1] + 1 if numbers else 1
        with self._finished(self._file(number), present) as finished:
            renames.rename_new(finished, self._file(number))
        durable_files.flush_folder(self._folder)
        for old in [*numbers, number][:-KEPT]:
            self._file(old).unlink(missing_ok=True)
        return number

    def _make_folder(self) -> None:
        if not self._folder.is_dir():
            self._folder.mkdir(mode=0o700)
            durable_files.flush_folder(self.path.parent)
        if self.path.exists():
            open_to_editors(self._folder, self.path)

    def _numbers(self) -> tuple[int, ...]:
        if not self._folder.is_dir():
            return ()
        return tuple(sorted(int(file.stem) for file in self._folder.glob("*.toml") if file.stem.isdecimal()))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number:06}.toml"

    def text(self, number: int) -> str:
        """The text of a version, plain. Raises SaveError."""
        try:
            return plain(_decoded(_read(self._file(number))))
        except OSError:
            raise SaveError(f"there is no version {number} of {self.path}; bayleaf save --history lists them") from None

    def undo(self) -> str:
        """The newest version that differs from the current text; saving it can be undone, too. Raises SaveError."""
        present = self.present()
        for number in [version.number for version in self.list()]:
            text = self.text(number)
            if text != present:
                return text
        raise SaveError(f"{self.path} has no earlier version")

    def list(self) -> tuple[RigVersion, ...]:
        """All versions, newest first. Raises SaveError."""
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


def _read(path: Path) -> bytes:
    """Whoever shares the folder may have put a pipe or a device there. Raises OSError."""
    return read_regular(path, LONGEST_TEXT)


def _reason(fault: OSError) -> str:
    return fault.strerror or str(fault)


def _holds(file: Path, text: str) -> bool:
    """Whether this is a file, not a link or a folder, with this text."""
    return stat.S_ISREG(os.lstat(file).st_mode) and plain(_decoded(_read(file))) == plain(text)


def _decoded(data: bytes) -> str:
    return data.decode("utf-8-sig", errors="surrogateescape")


def plain(text: str) -> str:
    """A text without a BOM and with single-character line ends."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _as_file(text: str, present: bytes) -> bytes:
    """The bytes of a text, with the BOM and the line ends of the current file."""
    made = text.removeprefix("\ufeff")
    lines = present.count(b"\n")
    if lines and lines == present.count(b"\r\n"):
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    bom = _BOM if present.startswith(_BOM) or text.startswith("\ufeff") else b""
    return bom + made.encode("utf-8", errors="surrogateescape")
