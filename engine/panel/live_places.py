"""Places for live sockets: how many may be open, with some kept for those who operate and for this machine."""

import contextlib
from collections.abc import Iterator
from typing import Final

from engine.panel.paired_browsers import Role

_MOST: Final = 32  # live sockets
_OF_OTHERS: Final = 28  # of these for browsers of other machines
_OF_VIEWERS: Final = 16  # of these for browsers that may only look
_OF_A_PAIRING: Final = 4  # of these for one of them


class NoPlace(Exception):
    """There are too many live sockets; the text says whose."""


class LivePlaces:
    """The live sockets that are open, each as the pairing's token and its role; the player's have no token."""

    def __init__(self) -> None:
        self._open: list[tuple[str | None, Role]] = []

    @contextlib.contextmanager
    def taken(self, token: str | None, role: Role) -> Iterator[None]:
        """A place for the length of the block. Raises NoPlace."""
        if self._is_too_many(token, role):
            raise NoPlace("this browser has too many windows open on this panel")
        if self._are_too_many(token, role):
            raise NoPlace("too many browsers are open on this panel")
        self._open.append((token, role))
        try:
            yield
        finally:
            self._open.remove((token, role))

    def _is_too_many(self, token: str | None, role: Role) -> bool:
        return token is not None and self._open.count((token, role)) >= _OF_A_PAIRING

    def _are_too_many(self, token: str | None, role: Role) -> bool:
        others = [whose for whose in self._open if whose[0] is not None]
        viewers = [whose for whose in others if whose[1] == "view"]
        return (
            len(self._open) >= _MOST
            or (token is not None and len(others) >= _OF_OTHERS)
            or (role == "view" and len(viewers) >= _OF_VIEWERS)
        )
