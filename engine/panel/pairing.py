"""Which browsers of other machines may see and operate: one-time codes, and the tokens they are exchanged for.

The file keeps the tokens' SHA-256 alone: who reads it cannot be taken for a paired browser.
"""

import contextlib
import hashlib
import hmac
import json
import os
import secrets
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, get_args

import platformdirs

from engine import durable_files
from engine.panel.rate_limit import CodeAttempts

Role = Literal["operate", "view"]
ROLES: Final[tuple[Role, ...]] = get_args(Role)

#: letters and digits that are not mistaken for one another
_SIGNS: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_LENGTH: Final = 8
LASTS: Final = 30 * 86400  # seconds a pairing lasts
_MOST: Final = 64  # pairings; the oldest is dropped for a new one


class PairingRefused(Exception):
    """This code does not pair a browser; the text says why. `wait`: seconds until the next try counts, or 0."""

    def __init__(self, text: str, wait: float = 0.0) -> None:
        super().__init__(text)
        self.wait = wait


class _Paired(NamedTuple):
    role: Role
    until: float  # seconds since 1970


def pairings_file(name: str) -> Path:
    """Where the panel of the engine of this name keeps its pairings."""
    return Path(platformdirs.user_state_dir("bayleaf")) / f"{name}.panel.json"


class Pairing:
    """The codes on display and the paired browsers."""

    def __init__(
        self,
        path: Path,
        show: Callable[[Role, str], None],
        clock: Callable[[], float] = time.monotonic,
        today: Callable[[], float] = time.time,
    ) -> None:
        """`show` is called with each new code; `clock` paces the tries, `today` ends pairings."""
        self._path = path
        self._show = show
        self._today = today
        self._attempts = CodeAttempts(clock)
        self._codes: dict[Role, str] = {}
        self._paired = _read(path)

    def begin(self) -> None:
        """Display a code for each role. Before this no code is valid."""
        for role in ROLES:
            self._renew(role)

    def pair(self, code: str, address: str) -> tuple[str, Role]:
        """A token for a code, which is used up by it. Raises PairingRefused."""
        if (wait := self._attempts.wait(address)) > 0:
            raise PairingRefused(f"Too many tries. Wait {wait:.0f} seconds, then type the code again.", max(1.0, wait))
        given = "".join(sign for sign in code.upper() if sign.isalnum()).encode()
        role = next((role for role, shown in self._codes.items() if hmac.compare_digest(shown.encode(), given)), None)
        if role is None:
            raise PairingRefused(
                "That is not the code. Type the one that the terminal shows now; each can be used once."
            )
        token = secrets.token_urlsafe(32)
        self._renew(role)
        self._paired[_digest(token)] = _Paired(role, self._today() + LASTS)
        self._forget_old()
        _write(self._path, self._paired)
        return token, role

    def role_of(self, token: str) -> Role | None:
        """What the browser with this token may do; None if it is not paired."""
        paired = self._paired.get(_digest(token))
        return paired.role if paired is not None and paired.until > self._today() else None

    def _renew(self, role: Role) -> None:
        code = "".join(secrets.choice(_SIGNS) for _ in range(_LENGTH))
        self._codes[role] = code
        self._show(role, f"{code[:4]}-{code[4:]}")

    def _forget_old(self) -> None:
        now = self._today()
        kept = [(digest, paired) for digest, paired in self._paired.items() if paired.until > now]
        self._paired = dict(kept[-_MOST:])


def forget(path: Path) -> None:
    """End every pairing."""
    path.unlink(missing_ok=True)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _read(path: Path) -> dict[str, _Paired]:
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


def _write(path: Path, paired: dict[str, _Paired]) -> None:
    """Pairings that cannot be written last until the panel ends."""
    with contextlib.suppress(OSError):
        durable_files.replace(path, json.dumps({"format": 1, "pairings": paired}).encode(), 0o600)
