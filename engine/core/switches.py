"""One foot switch: presses told apart as short, long and double, though its worn contacts bounce.

A contact that has just changed is deaf for its guard time; if it has settled the other way by the end of it, that
counts as a change of its own. A long press counts while the switch is still down. If a double press means something, a
short one counts only when the time for its second half is over; if a long one does, when it is let go.
"""

from typing import Final

SHORT, LONG, DOUBLE = "short", "long", "double"


class Switch:
    """Loop only; times in nanoseconds. `kinds`: which of the three mean something."""

    def __init__(self, kinds: frozenset[str], guard: int, hold: int, between: int) -> None:
        """`hold`: how long a long press is; `between`: how soon the second press of a double one must come."""
        self._kinds = kinds
        self._guard = guard
        self._hold = hold
        self._between = between
        self._down = False
        self._contact = False  # as last heard, bounces included
        self._changed_at = -(1 << 62)
        self._long_at: int | None = None  # when this press becomes a long one
        self._short_at: int | None = None  # when a press that may still become a double one counts as short
        self._spent = False  # what this press means has been told

    @property
    def due(self) -> int | None:
        """When `tick` next has something, or None."""
        settles = self._changed_at + self._guard if self._contact != self._down else None
        return min((at for at in (settles, self._long_at, self._short_at) if at is not None), default=None)

    def contact(self, now: int, down: bool) -> list[str]:
        """The contact closes or opens; the presses that this completes."""
        told = self.tick(now)
        self._contact = down
        if down != self._down and now - self._changed_at >= self._guard:
            told += self._change(now, down)
        return told

    def tick(self, now: int) -> list[str]:
        """The presses that time has completed."""
        told: list[str] = []
        settles = self._changed_at + self._guard
        if self._contact != self._down and settles <= now:
            told += self._change(settles, self._contact)
        if self._long_at is not None and self._long_at <= now:
            self._long_at, self._spent = None, True
            told.append(LONG)
        if self._short_at is not None and self._short_at <= now:
            self._short_at = None
            told.append(SHORT)
        return told

    def _change(self, now: int, down: bool) -> list[str]:
        self._down, self._changed_at = down, now
        return self._pressed(now) if down else self._let_go(now)

    def _pressed(self, now: int) -> list[str]:
        if self._short_at is not None:
            self._short_at, self._spent = None, True
            return [DOUBLE]
        self._spent = False
        self._long_at = now + self._hold if LONG in self._kinds else None
        if self._kinds <= _AT_ONCE:
            self._spent = True
            return [SHORT]
        return []

    def _let_go(self, now: int) -> list[str]:
        self._long_at = None
        if self._spent:
            return []
        if DOUBLE in self._kinds:
            self._short_at = now + self._between
            return []
        return [SHORT]


_AT_ONCE: Final = frozenset({SHORT})
