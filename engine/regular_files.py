"""Reads files that others name, of limited length and without ever waiting: no pipe, no device, no endless file."""

import os
import stat
from pathlib import Path


class NotRegular(OSError):
    """A pipe, a socket or a device stands where a file should be."""


class TooLong(OSError):
    """The file is longer than was asked for."""


def read_regular(path: Path, most: int) -> bytes:
    """The bytes of a regular file of at most `most` bytes. Raises NotRegular, TooLong, or another OSError."""
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)  # a pipe would wait for its writer
    with open(handle, "rb") as file:
        facts = os.fstat(file.fileno())
        if stat.S_ISDIR(facts.st_mode):
            raise IsADirectoryError(f"{path} is a folder")
        if not stat.S_ISREG(facts.st_mode):
            raise NotRegular(f"{path} is not a regular file")
        found = file.read(most + 1)  # its length may be reported wrongly, or grow
    if len(found) > most:
        raise TooLong(f"{path} is longer than {most} bytes")
    return found


def decoded(content: bytes) -> str:
    """UTF-8 text without a BOM, with single-character line ends. Raises UnicodeDecodeError."""
    return content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
