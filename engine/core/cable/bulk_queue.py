"""The long SysEx that waits for one cable, in its order, and how much of it there may be."""

from collections import deque
from collections.abc import Iterator
from typing import Final

#: bytes: some twenty minutes on a DIN cable
MOST_BYTES: Final = 4 << 20
#: messages: more than the blocks of the longest backup
MOST_MESSAGES: Final = 1 << 14


class BulkQueue:
    """Long SysEx of one cable. Adding one costs the same however many wait."""

    def __init__(self) -> None:
        self._waiting: deque[bytes] = deque()
        self._octets = 0

    def __bool__(self) -> bool:
        return bool(self._waiting)

    def __iter__(self) -> Iterator[bytes]:
        return iter(self._waiting)

    @property
    def first(self) -> bytes:
        """The one that is next; there must be one."""
        return self._waiting[0]

    def has_room_for(self, message: bytes) -> bool:
        """Whether it may wait here, too."""
        return self._octets + len(message) <= MOST_BYTES and len(self._waiting) < MOST_MESSAGES

    def append(self, message: bytes) -> None:
        """Put it behind all others."""
        self._waiting.append(message)
        self._octets += len(message)

    def popleft(self) -> bytes:
        """Take the first."""
        message = self._waiting.popleft()
        self._octets -= len(message)
        return message

    def clear(self) -> None:
        """Forget all of it."""
        self._waiting.clear()
        self._octets = 0
