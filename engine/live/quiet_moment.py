"""Finds a moment in which a show can change hands unheard: no message comes in, and nothing waits to be sent."""

from typing import Final

from engine.cluster.pure.replica import between_ticks
from engine.live.show import Show

_STILL: Final = 40_000_000  # ns without a message
_LONGEST: Final = 2_000_000_000  # ns to wait for a quiet moment; then the show changes hands all the same


class QuietMoment:
    """Loop only. Times in ns."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._messages, self._heard_at = 0, 0  # messages so far, and when the last of them was noticed
        self._wait_until: int | None = None

    @property
    def awaited(self) -> bool:
        """Whether a hand-over waits."""
        return self._wait_until is not None

    def begin(self, now: int) -> None:
        """Wait from now on."""
        self._wait_until = now + _LONGEST

    def end(self) -> None:
        """Wait no longer."""
        self._wait_until = None

    def look(self, now: int) -> bool:
        """Whether the moment is quiet; to be called often while a hand-over waits."""
        self._show.pump()
        messages = self._show.ports.messages_heard()
        if messages != self._messages:
            self._messages, self._heard_at = messages, now
        engine = self._show.engine
        return now - self._heard_at >= _STILL and not engine.waiting and between_ticks(engine, now)

    def too_long(self, now: int) -> bool:
        """Whether a hand-over has waited long enough."""
        return self._wait_until is not None and now >= self._wait_until
