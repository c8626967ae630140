"""The paired browsers, in a file that every panel of one engine shares; and the codes that `bayleaf pairings` shows.

The file keeps the SHA-256 of tokens and codes alone: who reads it cannot be taken for a paired browser.
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

#: everything; the show alone, which is scenes and panic; looking
Role = Literal["operate", "show", "view"]
ROLES: Final[tuple[Role, ...]] = get_args(Role)

LASTS: Final = 30 * 86400  # seconds a pairing lasts after it was last used
CODES_LAST: Final = 600  # seconds a code lasts that `bayleaf pairings` shows
_RENEWED: Final = 86400  # seconds after which a pairing that is used is written down again
_MOST: Final = 64  # pairings; the oldest is dropped for a new one
_ID: Final = 8  # letters of a pairing's digest by which people name it


class PairedBrowser(NamedTuple):
    """One pairing. Times in seconds since 1970; `since` is 0 if an earlier version made it."""

    role: Role
    until: float
    since: float = 0.0
    address: str = ""  # of the browser when it was paired


class _Kept(NamedTuple):
    """What the file holds, by digest, the oldest first: pairings, and codes with how long they last."""

    pairings: dict[str, PairedBrowser]
    codes: dict[str, tuple[Role, float]]


def pairings_file(name: str) -> Path:
    """Where the panels of the engine of this name keep their pairings."""
    return Path(platformdirs.user_state_dir("bayleaf")) / f"{name}.panel.json"


class PairedBrowsers:
    """The browsers that this file names, whichever panel wrote or removed it."""

    def __init__(self, path: Path, today: Callable[[], float]) -> None:
        """`today` in seconds since 1970."""
        self._path = path
        self._today = today
        self._written = _Kept({}, {})
        self._unwritten: dict[str, PairedBrowser] = {}  # the file could not take them; they last until the panel ends
        self._read_from: tuple[int, ...] | None = None

    def role_of(self, token: str) -> Role | None:
        """What the browser with this token may do; None if it is not paired."""
        paired = self._of(_digest(token))
        return paired.role if paired is not None else None

    def add(self, token: str, role: Role, address: str) -> None:
        """Pair the browser with this token."""
        now = self._today()
        self._put(_digest(token), PairedBrowser(role, now + LASTS, now, address))

    def renew(self, token: str) -> None:
        """The browser with this token is in use: its pairing lasts from now on."""
        digest, now = _digest(token), self._today()
        paired = self._of(digest)
        if paired is not None and paired.until < now + LASTS - _RENEWED:
            self._put(digest, paired._replace(until=now + LASTS))

    def listed(self) -> dict[str, PairedBrowser]:
        """The pairings by the names that people use for them, the oldest first."""
        self._read_again()
        now = self._today()
        return {digest[:_ID]: each for digest, each in self._all().items() if each.until > now}

    def name_of(self, token: str) -> str:
        """The name that people use for the pairing with this token."""
        return _digest(token)[:_ID]

    def end(self, name: str) -> bool:
        """End the pairing of this name; whether there was one. Raises OSError."""
        unwritten = {digest: each for digest, each in self._unwritten.items() if digest[:_ID] != name}
        found = len(unwritten) < len(self._unwritten)
        self._unwritten = unwritten
        with self._changing() as kept:
            for digest in [digest for digest in kept.pairings if digest[:_ID] == name]:
                del kept.pairings[digest]
                found = True
        return found

    def offer(self, codes: dict[Role, str]) -> None:
        """From now on these codes pair a browser each, for ten minutes, in place of those before. Raises OSError."""
        with self._changing() as kept:
            until = self._today() + CODES_LAST
            kept.codes.clear()
            kept.codes.update({_digest(code): (role, until) for role, code in codes.items()})

    def take(self, code: str) -> Role | None:
        """The role of a code that was offered; it is used up by that."""
        self._read_again()
        if _digest(code) not in self._written.codes:
            return None
        with contextlib.suppress(OSError), self._changing() as kept:
            role, until = kept.codes.pop(_digest(code), (None, 0.0))
            return role if until > self._today() else None
        return None

    def _of(self, digest: str) -> PairedBrowser | None:
        self._read_again()
        paired = self._written.pairings.get(digest) or self._unwritten.get(digest)
        return paired if paired is not None and paired.until > self._today() else None

    def _all(self) -> dict[str, PairedBrowser]:
        return {**self._written.pairings, **self._unwritten}

    def _put(self, digest: str, paired: PairedBrowser) -> None:
        try:
            with self._changing() as kept:
                kept.pairings[digest] = paired
        except OSError:
            self._unwritten = _newest({**self._unwritten, digest: paired}, self._today())

    @contextlib.contextmanager
    def _changing(self) -> Iterator[_Kept]:
        """What the file holds; what it holds after the block is written. Raises OSError."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        with _alone(self._path.parent):  # another panel's pairings must not be overwritten
            kept = _read(self._path)
            yield kept
            now = self._today()
            codes = {digest: each for digest, each in kept.codes.items() if each[1] > now}
            _write(self._path, _Kept(_newest(kept.pairings, now), codes))

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


def _newest(pairings: dict[str, PairedBrowser], now: float) -> dict[str, PairedBrowser]:
    return dict([(digest, paired) for digest, paired in pairings.items() if paired.until > now][-_MOST:])


def _read(path: Path) -> _Kept:
    """What is kept; nothing if the file cannot be read, belongs to another user, or can be written by others."""
    with contextlib.suppress(OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        with path.open(encoding="utf-8") as file:
            stat = os.fstat(file.fileno())
            if stat.st_uid != os.getuid() or stat.st_mode & 0o077:
                return _Kept({}, {})
            found: dict[str, Any] = json.load(file)
        pairings = {str(digest): _paired(*each) for digest, each in found["pairings"].items()}
        codes = {str(digest): (_role(role), float(until)) for digest, (role, until) in found.get("codes", {}).items()}
        return _Kept(pairings, codes)
    return _Kept({}, {})


def _paired(role: str, until: float, since: float = 0.0, address: str = "") -> PairedBrowser:
    return PairedBrowser(_role(role), float(until), float(since), str(address))


def _role(text: str) -> Role:
    return next(role for role in ROLES if role == text) if text in ROLES else "view"


def _write(path: Path, kept: _Kept) -> None:
    durable_files.replace(path, json.dumps({"format": 1, **kept._asdict()}).encode(), 0o600)
