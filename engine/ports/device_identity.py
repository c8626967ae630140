"""Whether a path still leads to the device that was opened there.

A program that has a device open is not always notified when it is unplugged; and a node that was removed and made
again is another device under the same name.
"""

import os
import select
from typing import Final

from engine.ports.port import PortGone

_LOOK_AGAIN: Final = 200_000_000  # ns between looks: one costs 4 µs
_HUNG_UP: Final = select.POLLHUP | select.POLLERR | select.POLLNVAL


class DeviceIdentity:
    """One open device and the path where it was found. Once it is gone it stays gone."""

    def __init__(self, path: str, handle: int) -> None:
        self._path = path
        self._handle = handle
        self._identity = _identity(os.fstat(handle))
        self._line = select.poll()  # reports a terminal whose far side was closed, without reading from it
        self._line.register(handle, 0)
        self._looked_at = 0
        self.gone: str | None = None  # why, once it is known

    def check(self, now: int) -> None:
        """Raise PortGone if it is gone, looking again if the last look is old; `now` is monotonic (ns)."""
        if self.gone:
            raise PortGone(self.gone)
        if now - self._looked_at > _LOOK_AGAIN:
            self._looked_at = now
            if reason := self._look():
                raise self.lost(reason)

    def lost(self, reason: str | None) -> PortGone:
        """Mark it as gone; the error to raise."""
        self.gone = self.gone or f"{self._path} is gone ({reason})"
        return PortGone(self.gone)

    def _look(self) -> str | None:
        try:
            there = _identity(os.stat(self._path))
        except OSError as fault:
            return fault.strerror
        if there != self._identity:
            return "another device is in its place"
        hung_up = any(events & _HUNG_UP for _, events in self._line.poll(0))
        return "its far end was closed" if hung_up else None


def _identity(facts: os.stat_result) -> tuple[int, int, int]:
    return facts.st_dev, facts.st_ino, facts.st_rdev
