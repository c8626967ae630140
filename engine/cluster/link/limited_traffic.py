"""A subscription that is withdrawn for a while when more arrives than can be taken.

Then the transport drops what still comes, without Python: a machine that floods the network costs no more than this.
"""

import threading
from collections.abc import Callable
from typing import Any, Final

from engine.cluster.link.allowance import Allowance
from engine.cluster.link.deferred_calls import DeferredCalls
from engine.cluster.link.link import TooMuch

PAUSE: Final = 5.0  # seconds

Take = Callable[[Any], None]


def _alike(found: Any) -> int:
    """All that arrives costs the same, but for its length."""
    return 0


class LimitedTraffic:
    """Takes samples, or questions, of the transport in the transport's thread."""

    def __init__(
        self,
        declare: Callable[[Take], Any],
        take: Take,
        too_much: TooMuch,
        deferred: DeferredCalls,
        beside: Callable[[Any], int] = _alike,
    ) -> None:
        """`declare` gives the transport a callable for what arrives, and returns what can be undeclared.

        `beside`: what one of them costs more than others, as in `Allowance.covers`.
        """
        self._declare = declare
        self._take = take
        self._too_much = too_much
        self._deferred = deferred
        self._beside = beside
        self._allowance = Allowance()
        self._paused = False
        self._declared = declare(self._arrived)

    def _arrived(self, found: Any) -> None:
        if self._paused:
            return
        length = len(found.payload) if found.payload is not None else 0
        if self._allowance.covers(length, self._beside(found)):
            self._take(found)
            return
        self._paused = True
        self._deferred.put(self._pause)

    def _pause(self) -> None:  # thread of the deferred calls
        self._declared.undeclare()
        self._too_much()
        again = threading.Timer(PAUSE, self._deferred.put, (self._go_on,))
        again.daemon = True
        again.start()

    def _go_on(self) -> None:  # thread of the deferred calls
        self._paused = False
        self._declared = self._declare(self._arrived)
