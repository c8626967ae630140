"""The paired browsers, in a file that every panel of one engine shares.

The file keeps the tokens' SHA-256 alone: who reads it cannot be taken for a paired browser.
"""

import contextlib
import fcntl
import hashlib
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, get_args

import platformdirs

from engine import durable_files

Role = Literal["operate", "view"]
ROLES: Final[tuple[Role, ...]] = get_args(Role)

LASTS: Final = 30 * 86400  # seconds a pairing lasts
_MOST: Final = 64  # pairings; the oldest is dropped for a new one


class _Paired(NamedTuple):
    role: Role
    until: float  # seconds since 1970


_Pairings = dict[str, _Paired]  # by the token's digest, the oldest first


def pairings_file(name: str) -> Path:
    """Where the panels of the engine of this name keep their pairings."""
    return Path(platformdirs.user_state_dir("bayleaf")) / f"{name}.panel.json"


class PairedBrowsers:
    """The browsers that this file names, whichever panel wrote or removed it."""

    def __init__(self, path: Path, today: Callable[[], float]) -> None:
        """`today` in seconds since 1970."""
        self._path = path
        self._today = today
        self._written: _Pairings = {}
        self._unwritten: _Pairings = {}  # those that the file could not take; they last until the panel ends
        self._read_from: tuple[int, ...] | None = None

    def role_of(self, token: str) -> Role | None:
        """What the browser with this token may do; None if it is not paired."""
        self._read_again()
        paired = self._written.get(digest := _digest(token)) or self._unwritten.get(digest)
        return paired.role if paired is not None and paired.until > self._today() else None

    def add(self, token: str, role: Role) -> None:
        """Pair the browser with this token."""
        now = self._today()
        paired = {_digest(token): _Paired(role, now + LASTS)}
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with _alone(self._path.parent):  # another panel's pairings must not be overwritten
                _write(self._path, _newest({**_read(self._path), **paired}, now))
        except OSError:
            self._unwritten = _newest({**self._unwritten, **paired}, now)

    def _read_again(self) -> None:
        """If another panel wrote or removed the file since."""
        try:
            found = self._path.stat()
        except OSError:
            there = None
        else:
            there = (found.st_ino, found.st_mtime_ns, found.st_ctime_ns, found.st_size)
        if there != self._read_from:
            self._written, self._read_from = _read(self._path), there


def forget(path: Path) -> None:
    """End every pairing, those of panels that run included. Raises OSError."""
    with contextlib.suppress(FileNotFoundError), _alone(path.parent):
        path.unlink()


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """For as long as the block lasts, no other panel is in such a block. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _newest(pairings: _Pairings, now: float) -> _Pairings:
    return dict([(digest, paired) for digest, paired in pairings.items() if paired.until > now][-_MOST:])


def _read(path: Path) -> _Pairings:
    """The pairings; none if the file cannot be read, belongs to another user, or can be written by others."""
    with contextlib.suppress(OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        with path.open(encoding="utf-8") as file:
            stat = os.fstat(file.fileno())
            if stat.st_uid != os.getuid() or stat.st_mode & 0o077:
                return {}
            listed: dict[str, Any] = json.load(file)["pairings"]
        return {str(digest): _Paired(_role(role), float(until)) for digest, (role, until) in listed.items()}
    return {}


def _role(text: str) -> Role:
    return next(role for role in ROLES if role == text) if text in ROLES else "view"


def _write(path: Path, pairings: _Pairings) -> None:
    durable_files.replace(path, json.dumps({"format": 1, "pairings": pairings}).encode(), 0o600)
