"""Whether the system's ports that we are connected to are still there, and still connected to us.

Only the lists show that a port has vanished; and one that vanished and returned between two looks is listed again, but
no longer connected to us.
"""

from collections.abc import Callable, Collection
from typing import Final

from engine.ports.port import PortGone

_LOOK_AGAIN: Final = 200_000_000  # ns between looks; a look costs 12 µs
_SURE: Final = 20_000_000  # ns for which a port that was there is not looked for again; each message asks


class PortPresence:
    """The list of ports of one direction; one look serves all ports that ask."""

    def __init__(self, look: Callable[[], list[str]]) -> None:
        """`look` lists the ports that are there now."""
        self._look = look
        self._looked_at = 0
        self._names: frozenset[str] = frozenset()

    def names(self, now: int) -> frozenset[str]:
        """The ports that were there at most a fifth of a second before `now` (monotonic ns)."""
        if now - self._looked_at > _LOOK_AGAIN:
            self._names = frozenset(self._look())
            self._looked_at = now
        return self._names

    def forget(self) -> None:
        """Look again next time: a port may have been opened since the last look."""
        self._looked_at = 0


class Joint:
    """One port that we are connected to, called `name` in the lists; once it is gone it stays gone."""

    def __init__(
        self, name: str, presence: PortPresence, joined: Callable[[], Collection[str]] | None, own: str
    ) -> None:
        """`joined` lists what is connected to it now, if this system can; `own` is the name of our end in that list.

        Made when the two have just been connected.
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
