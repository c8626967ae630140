"""One-time codes, and the tokens they are exchanged for: which browsers of other machines may see and operate."""

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
        self._browsers = PairedBrowsers(path, today)

    def begin(self) -> None:
        """Display a code for each role. Before this no code is valid."""
        for role in ROLES:
            self._renew(role)

    def pair(self, code: str, address: str) -> tuple[str, Role]:
        """A token for a code, which is used up by it. Raises PairingRefused."""
        if (wait := self._attempts.wait(address)) > 0:
            pause = counted(math.ceil(wait), "second")
            raise PairingRefused(f"Too many tries. Wait {pause}, then type the code again.", wait)
        given = "".join(sign for sign in code.upper() if sign.isalnum()).encode()
        role = next((role for role, shown in self._codes.items() if hmac.compare_digest(shown.encode(), given)), None)
        if role is None:
            raise PairingRefused(
                "That is not the code. Type the one that the terminal shows now; each can be used once."
            )
        token = secrets.token_urlsafe(32)
        self._renew(role)
        self._browsers.add(token, role)
        return token, role

    def role_of(self, token: str) -> Role | None:
        """What the browser with this token may do; None if it is not paired."""
        return self._browsers.role_of(token)

    def _renew(self, role: Role) -> None:
        code = "".join(secrets.choice(_SIGNS) for _ in range(_LENGTH))
        self._codes[role] = code
        self._show(role, f"{code[:4]}-{code[4:]}")
