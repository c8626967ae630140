"""Whether the system's ports that we joined are still there, and still joined to us.

Nothing tells of a port that vanished but the lists, and one that vanished and returned between two looks stands in
the list again while nothing joins us to it any more.
"""

from collections.abc import Callable, Collection
from typing import Final

from engine.ports.port import PortGone

_LOOK_AGAIN: Final = 200_000_000  # ns between looks; a look costs 12 µs
_SURE: Final = 20_000_000  # ns for which a port that was there is not asked for again: each message would ask


class PortPresence:
    """One direction's list of ports; one look serves all ports that ask."""

    def __init__(self, look: Callable[[], list[str]]) -> None:
        """`look` lists what is there now."""
        self._look = look
        self._looked_at = 0
        self._names: frozenset[str] = frozenset()

    def names(self, now: int) -> frozenset[str]:
        """What is there, as it was at most a fifth of a second before `now` (monotonic ns)."""
        if now - self._looked_at > _LOOK_AGAIN:
            self._names = frozenset(self._look())
            self._looked_at = now
        return self._names

    def forget(self) -> None:
        """Look anew next time: the last look may be older than a port that was opened since."""
        self._looked_at = 0


class Joint:
    """One port that we joined, `name` in the lists; once it is gone it stays so."""

    def __init__(
        self, name: str, presence: PortPresence, joined: Callable[[], Collection[str]] | None, own: str
    ) -> None:
        """`joined` tells what is joined to it just now, if this system can tell; `own` is our end's name there.

        Made when the two have just been joined.
        """
        self._name = name
        self._presence = presence
        self._joined = joined
        self._own = own
        self._asked_at = 0
        # JACK shows a new connection a period late, and any system may cut a long name
        self._was_joined = joined is not None and own in joined()
        self._gone = False
        self._again_at = 0

    def check(self, now: int) -> None:
        """Raise PortGone if it is gone by now (monotonic ns)."""
        if now < self._again_at:
            return
        self._gone = self._gone or self._name not in self._presence.names(now) or self._parted(now)
        if self._gone:
            raise PortGone(f'"{self._name}" was unplugged')
        self._again_at = now + _SURE

    def _parted(self, now: int) -> bool:
        if self._joined is None or now - self._asked_at <= _LOOK_AGAIN:
            return False
        self._asked_at = now
        joined = self._own in self._joined()
        parted = self._was_joined and not joined
        self._was_joined = joined
        return parted
