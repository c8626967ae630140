"""Files that survive a crash or a power cut whole: written beside their place, flushed to the disk, then renamed."""

import contextlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from engine.renames import rename_new


def flush(file: IO[Any]) -> None:
    """Return once all that was written to this file is on the disk. Raises OSError."""
    file.flush()
    os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """Make the names in a folder last; a system that cannot do so for a folder has renamed all the same."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def rename(finished: Path, path: Path) -> None:
    """Put a finished file in the place of another one, of which nothing is left, in one step. Raises OSError."""
    os.replace(finished, path)
    flush_folder(path.parent)


def replace(path: Path, content: bytes, mode: int = 0o666) -> None:
    """Write a file whole or leave it as it was; its folder is made if need be. Raises OSError.

    `mode` before the umask. One writer at a time: a temporary file that a crash left is overwritten by the next.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.new")
    temporary.unlink(missing_ok=True)
    try:
        with open(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(content)
            flush(file)
        rename(temporary, path)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise


@contextmanager
def new(path: Path, mode: int = 0o666) -> Iterator[IO[bytes]]:
    """A file to write to, which gets its name at the end, whole, if nothing has that name: not even a dangling link.

    `mode` before the umask. After an error nothing is left. Raises FileExistsError and other OSErrors.
    """
    temporary = path.with_name(f".bayleaf-{secrets.token_hex(8)}")
    try:
        with open(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            yield file
            flush(file)
        rename_new(temporary, path)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
    flush_folder(path.parent)
