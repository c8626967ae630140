"""How much may come in from another machine: some at once, and so much per second after that."""

import time
from collections.abc import Callable
from typing import Final

_EACH: Final = 16  # what one network message costs beside its bytes, in words of four bytes
_LONG: Final = 65_536  # bytes; what is longer is one piece of SysEx, or a rig, and costs no more to take
#: words at once; and per second: twice what 20,000 messages per second take, which is the busiest rig
_AT_ONCE: Final = 400_000
_PER_SECOND: Final = 100_000


class Allowance:
    """For the network messages of one subscription; one thread at a time."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """`clock`: seconds."""
        self._clock = clock
        self._left = float(_AT_ONCE)
        self._since = clock()

    def covers(self, length: int, beside: int = 0) -> bool:
        """Take a message of this many bytes off, which costs as many words `beside` what every one does.

        False if that is more than there is left.
        """
        now = self._clock()
        self._left = min(_AT_ONCE, self._left + (now - self._since) * _PER_SECOND)
        self._since = now
        cost = _EACH + beside + min(length, _LONG) // 4
        if cost > self._left:
            return False
        self._left -= cost
        return True
