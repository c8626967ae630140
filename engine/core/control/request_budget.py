"""How often requests from outside are obeyed: so many at once, and then so many per second."""


class RequestBudget:
    """Of one asker. Times in nanoseconds."""

    def __init__(self, per_second: int, at_once: int) -> None:
        self._each = 1_000_000_000 // per_second
        self._ahead = at_once * self._each
        self._paid_until = 0

    def admits(self, now: int) -> bool:
        """Whether one more request may be obeyed now; it is paid for if so."""
        paid = max(self._paid_until, now) + self._each
        if paid > now + self._ahead:
            return False
        self._paid_until = paid
        return True
