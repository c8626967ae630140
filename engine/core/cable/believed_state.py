"""What an engine believes about the instruments on an output that another engine plays, too, and what of it is sure.

An engine that follows knows what is there by routing what it hears. After it was cut off that is a guess: what was
played meanwhile it has not heard. The machine that has the output knows better, so a guess counts only where that
machine knows nothing, as after a start.
"""

from collections.abc import Sequence

from engine.core.cable.receiver_state import ReceiverState


class BelievedState:
    """`all`: everything that is believed. Times in nanoseconds of the caller's clock."""

    def __init__(self) -> None:
        self.all = ReceiverState()
        self._sure: ReceiverState | None = None  # what of it was sent since it was doubted last; None: it never was

    def note(self, now: int, message: bytes) -> None:
        """This message was sent at this time."""
        self.all.note(now, message)
        if self._sure is not None:
            self._sure.note(now, message)

    def doubt(self) -> None:
        """Other messages may have been sent until now, too. (Keys are not doubted: those that are down are known.)"""
        self._sure = ReceiverState()

    def copy(self) -> "BelievedState":
        """An independent copy."""
        made = BelievedState()
        made.all = self.all.copy()
        made._sure = None if self._sure is None else self._sure.copy()
        return made

    def snapshots(self, now: int, young_since: int | None = None) -> tuple[bytes, ...]:
        """As `ReceiverState.snapshot`: of everything and, if that is not all sure, of what is sure."""
        everything = self.all.snapshot(now, young_since)
        return (everything,) if self._sure is None else (everything, self._sure.snapshot(now))


def to_be_reached(now: int, snapshots: Sequence[bytes], known: ReceiverState) -> ReceiverState:
    """The state that such snapshots stand for at a machine which knows what is there. Raises ValueError if they are
    none."""
    everything, *sure = (ReceiverState.read(now, each) for each in snapshots)
    return everything.corrected(known, sure[0]) if sure else everything
