"""One-time codes, and the tokens they are exchanged for: which browsers of other machines may do what."""

import hmac
import math
import secrets
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from engine.panel.paired_browsers import ROLES, PairedBrowsers, Role
from engine.panel.rate_limit import CodeAttempts
from engine.plurals import counted

#: letters and digits that are not mistaken for one another
_SIGNS: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_LENGTH: Final = 8


class PairingRefused(Exception):
    """This code does not pair a browser; the text says why. `wait`: seconds until the next try counts, or 0."""

    def __init__(self, text: str, wait: float = 0.0) -> None:
        super().__init__(text)
        self.wait = wait


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
        self._show = show
        self._attempts = CodeAttempts(clock)
        self._codes: dict[Role, str] = {}
        self.browsers = PairedBrowsers(path, today)

    def begin(self) -> None:
        """Display a code for each role. Before this no code is valid."""
        for role in ROLES:
            self._renew(role)

    @property
    def codes(self) -> dict[Role, str]:
        """The codes on display; none before `begin`."""
        return {role: shown_code(code) for role, code in self._codes.items()}

    def pair(self, code: str, address: str) -> tuple[str, Role]:
        """A token for a code, which is used up by it. Raises PairingRefused."""
        if (wait := self._attempts.wait(address)) > 0:
            pause = counted(math.ceil(wait), "second")
            raise PairingRefused(f"Too many tries. Wait {pause}, then type the code again.", wait)
        given = "".join(sign for sign in code.upper() if sign.isalnum())
        own = (role for role, shown in self._codes.items() if hmac.compare_digest(shown.encode(), given.encode()))
        role = next(own, None)
        if role is not None:
            self._renew(role)
        else:
            role = self.browsers.take(given)
        if role is None:
            raise PairingRefused(
                "That is not the code. Type the one that the terminal shows now; each can be used once."
            )
        token = secrets.token_urlsafe(32)
        self.browsers.add(token, role, address)
        return token, role

    def role_of(self, token: str) -> Role | None:
        """What the browser with this token may do; None if it is not paired."""
        return self.browsers.role_of(token)

    def _renew(self, role: Role) -> None:
        self._codes[role] = fresh_code()
        self._show(role, shown_code(self._codes[role]))


def fresh_code() -> str:
    """A code that nobody can guess."""
    return "".join(secrets.choice(_SIGNS) for _ in range(_LENGTH))


def shown_code(code: str) -> str:
    """A code as people read it."""
    return f"{code[:4]}-{code[4:]}"
