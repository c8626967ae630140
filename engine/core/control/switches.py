"""One foot switch: tells short, long and double presses apart, though its worn contacts bounce.

A press counts at once; then the switch is ignored for its guard time. If the contacts still bounce at the end of it,
the switch is ignored until they stop, but never for long. If they then rest in another state, that counts.

A long press counts while the switch is still down. If a double press means something, a short one counts only when it
is too late for the second half; if a long press means something, when the switch is released; else at once.
"""

from collections.abc import Container, Mapping
from typing import Final

from engine.rig.models.control import Control

SHORT, LONG, DOUBLE = "short", "long", "double"
_AT_ONCE: Final = frozenset({SHORT})

# Common practice, no source: bouncing contacts change every few milliseconds, and feet are slower than this.
_QUIET: Final = 10_000_000  # ns without a bounce after which they rest
_LONGEST_CHAIN: Final = 100_000_000  # ns beyond its guard time for which bounces may make a switch ignored
_LONGEST_RELEASE: Final = 50_000_000  # ns after a release within which no foot can press and release again


class BounceGuard:
    """For how long a switch is ignored. Times in nanoseconds."""

    def __init__(self) -> None:
        self.until = -(1 << 62)
        self._latest = self.until
        self._quiet = 0

    def open(self, now: int, length: int) -> None:
        """A change has counted: ignore the switch for this long, and a little longer while it still bounces."""
        self.until = now + length
        self._latest = self.until + _LONGEST_CHAIN
        self._quiet = min(length, _QUIET)

    def admits(self, now: int, length: int) -> bool:
        """Whether a change now counts (it then opens the guard), or is a bounce."""
        if now >= self.until:
            self.open(now, length)
            return True
        self.until = max(self.until, min(now + self._quiet, self._latest))
        return False


class FootSwitch:
    """Loop only; times in nanoseconds. Each call returns the controls whose press is complete."""

    def __init__(self) -> None:
        self.closed = False  # the contact as it last reported, bounces included
        self._down = False  # as counted
        self._guard = BounceGuard()
        self._length = 0  # of the guard
        self._means: Mapping[str, Control] = {}  # kind of press -> what it commands, of the press under way
        self._coming: Mapping[str, Control] = {}  # of the press that came last, even if it was a bounce
        self._long_at: int | None = None  # when this press becomes a long one
        self._short_at: int | None = None  # when a press that may still become a double one counts as short
        self._spent = True  # what this press means has been returned

    def deaf(self, now: int) -> bool:
        """Whether any change now is a bounce."""
        return now < self._guard.until

    @property
    def passes(self) -> bool:
        """Whether the messages of this press are also routed."""
        return any(control.passes for control in self._means.values())

    @property
    def due(self) -> int | None:
        """When `tick` next has something to do, or None."""
        settles = self._guard.until if self.closed != self._down else None
        long_at = self._long_at if self.closed else None  # an open contact will count as released
        return min((at for at in (settles, long_at, self._short_at) if at is not None), default=None)

    def press(self, now: int, means: Mapping[str, Control]) -> list[Control]:
        """The contact closes; `means`: what short, long and double presses command now."""
        meant = self.tick(now)
        self.closed, self._coming = True, means
        self._length = max((control.guard for control in means.values()), default=self._length)
        return meant + (self._pressed(now) if self._guard.admits(now, self._length) else [])

    def release(self, now: int) -> list[Control]:
        """The contact opens."""
        meant = self.tick(now)
        closed, self.closed = self.closed, False
        heard = closed and self._guard.admits(now, min(self._length, _LONGEST_RELEASE))
        return meant + (self._let_go(now) if heard else [])

    def tick(self, now: int) -> list[Control]:
        """The presses that time has completed."""
        meant: list[Control] = []
        while (at := self.due) is not None and at <= now:
            meant += self._complete(at)
        return meant

    def leave(self) -> None:
        """It was pressed where it commands nothing: what follows of this press is music."""
        self.closed = self._down = False
        self._long_at = None

    def mean_only(self, controls: Container[Control]) -> None:
        """The rig was edited and has these controls: a press under way goes on if it means what it meant."""
        self._means = {kind: control for kind, control in self._means.items() if control in controls}
        self._coming = {kind: control for kind, control in self._coming.items() if control in controls}

    def _complete(self, at: int) -> list[Control]:
        if self.closed != self._down and self._guard.until <= at:
            return self._settle(at)
        if self._long_at is not None and self._long_at <= at and self.closed:
            self._long_at, self._spent = None, True
            return self._meant(LONG)
        self._short_at = None
        return self._meant(SHORT)

    def _settle(self, at: int) -> list[Control]:
        """The contacts rest, in another state than when the switch last counted."""
        if not self.closed:
            return self._let_go(at)
        self._guard.open(at, self._length)
        return self._pressed(at)

    def _pressed(self, now: int) -> list[Control]:
        self._down = True
        if self._short_at is not None:
            self._short_at, self._spent = None, True
            return self._meant(DOUBLE)
        self._means = self._coming
        self._long_at = now + self._means[LONG].hold if LONG in self._means else None
        self._spent = self._means.keys() <= _AT_ONCE
        return self._meant(SHORT) if self._spent else []

    def _let_go(self, now: int) -> list[Control]:
        self._down, self._long_at = False, None
        if self._spent:
            return []
        self._spent = True
        if DOUBLE in self._means:
            self._short_at = now + self._means[DOUBLE].between
            return []
        return self._meant(SHORT)

    def _meant(self, kind: str) -> list[Control]:
        return [self._means[kind]] if kind in self._means else []
