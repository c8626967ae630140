"""States that are kept: each is published with who keeps it and a number, so that an answer to a late question never
puts an older value over a newer one."""

import secrets
import struct
import threading
from typing import Final

from engine.cluster.link.link import Heard

_STAMP: Final = struct.Struct(">8sQ")  # the keeper, new at each start, and a number that grows with each value


class RetainedState:
    """A state of ours, with its stamp."""

    def __init__(self) -> None:
        self._keeper = secrets.token_bytes(8)
        self._number = 0
        self._stamped = b""

    def replace(self, payload: bytes) -> bytes:
        """The next value; stamped, as it is to be published."""
        self._number += 1
        self._stamped = _STAMP.pack(self._keeper, self._number) + payload
        return self._stamped

    def last(self, question: bytes) -> bytes:
        """The answer to a late joiner."""
        return self._stamped


class RetainedStateReader:
    """A state of others; `heard` gets each value once, in the order it was kept."""

    def __init__(self, key: str, heard: Heard) -> None:
        self._key = key
        self._heard = heard
        self._last: dict[bytes, int] = {}
        self._lock = threading.Lock()

    def take(self, stamped: bytes) -> None:
        """What was published, or answered; any thread."""
        if len(stamped) < _STAMP.size:
            return
        keeper, number = _STAMP.unpack_from(stamped)
        with self._lock:
            if number > self._last.get(keeper, 0):
                self._last[keeper] = number
                self._heard(self._key, stamped[_STAMP.size :])
