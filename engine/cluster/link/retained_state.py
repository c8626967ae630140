"""States that are published and also answered to machines that join later, each value with a stamp.

The stamp, publisher and number, prevents an answer that arrives late from replacing a newer value.
"""

import secrets
import struct
import threading
from typing import Final

from engine.cluster.link.link import Heard

_STAMP: Final = struct.Struct(">8sQ")  # the publisher, new at each start, and a number that grows with each value
_PUBLISHERS: Final = 16  # that are remembered: each machine is a new one at each start


class RetainedState:
    """A state that this machine publishes."""

    def __init__(self) -> None:
        self._keeper = secrets.token_bytes(8)
        self._number = 0
        self._stamped = b""

    def replace(self, payload: bytes) -> bytes:
        """Set the next value; returns it with its stamp, as it is to be published."""
        self._number += 1
        self._stamped = _STAMP.pack(self._keeper, self._number) + payload
        return self._stamped

    def last(self, question: bytes) -> bytes:
        """The answer to a machine that joins later."""
        return self._stamped


class RetainedStateReader:
    """A state that others publish; `heard` gets each value once, in order."""

    def __init__(self, key: str, heard: Heard) -> None:
        self._key = key
        self._heard = heard
        self._last: dict[bytes, int] = {}  # by publisher, the one heard last at the end
        self._lock = threading.Lock()

    def take(self, stamped: bytes) -> None:
        """Take what was published, or answered. Any thread."""
        if len(stamped) < _STAMP.size:
            self._heard(self._key, b"")
            return
        keeper, number = _STAMP.unpack_from(stamped)
        with self._lock:
            if number > self._last.get(keeper, 0):
                self._last.pop(keeper, None)
                self._last[keeper] = number
                if len(self._last) > _PUBLISHERS:
                    del self._last[next(iter(self._last))]
                self._heard(self._key, stamped[_STAMP.size :])
