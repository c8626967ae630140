"""Renames that overwrite nothing unseen: to a name only if it is free, and two files in each other's place.

Linux does either in one step (renameat2(2)), on most file systems. Elsewhere a free name is taken by a link, or, where
there are no links, by an empty file that holds the name until the rename.
"""

import ctypes
import errno
import os
import sys
from pathlib import Path
from typing import Final

_HERE: Final = -100  # AT_FDCWD: paths are relative to the working folder
_NOT_OVER: Final = 1  # RENAME_NOREPLACE
_EXCHANGE: Final = 2  # RENAME_EXCHANGE
_UNKNOWN: Final = frozenset((errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP))  # not on this system or file system
_CALL: Final = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if sys.platform == "linux" else None


def rename_new(file: Path, name: Path) -> None:
    """Give a file this name if nothing has it, be it a dangling link. Raises FileExistsError and other OSErrors."""
    if _rename(file, name, _NOT_OVER):
        return
    try:
        os.link(file, name)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        name.open("xb").close()
        os.replace(file, name)
    else:
        file.unlink()


def exchange(first: Path, second: Path) -> bool:
    """Put two files in each other's place in one step; False where that cannot be done. Raises OSError."""
    return _rename(first, second, _EXCHANGE)


def _rename(file: Path, name: Path, how: int) -> bool:
    if _CALL is None:
        return False
    if _CALL(_HERE, os.fsencode(file), _HERE, os.fsencode(name), how) == 0:
        return True
    code = ctypes.get_errno()
    if code in _UNKNOWN:
        return False
    raise OSError(code, os.strerror(code), os.fspath(name))
