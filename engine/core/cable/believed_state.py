"""What an engine believes about an output that another engine may be playing, and which part of that is sure.

An engine that follows works out what the instruments were sent by routing what it hears. Once it has been cut off, its
belief is only a guess, because it missed what was played meanwhile. The machine that has the output knows better. So a
guess counts only where that machine knows nothing, for example just after it has started.
"""

from collections.abc import Sequence

from engine.core.cable.receiver_state import ReceiverState


class BelievedState:
    """`all`: everything that is believed. Times in nanoseconds of the caller's clock."""

    def __init__(self) -> None:
        self.all = ReceiverState()
        self._sure: ReceiverState | None = None  # the part noted since the last doubt; None if there was none

    def note(self, now: int, message: bytes) -> None:
        """This message was sent at this time."""
        self.all.note(now, message)
        if self._sure is not None:
            self._sure.note(now, message)

    def doubt(self) -> None:
        """Everything noted so far becomes a guess, except the keys that are down."""
        self._sure = ReceiverState()

    def copy(self) -> "BelievedState":
        """An independent copy."""
        made = BelievedState()
        made.all = self.all.copy()
        made._sure = None if self._sure is None else self._sure.copy()
        return made

    def snapshots(self, now: int, young_since: int | None = None) -> tuple[bytes, ...]:
        """Snapshots as `ReceiverState.snapshot` makes them: of everything, then of the sure part if that is not all."""
        everything = self.all.snapshot(now, young_since)
        return (everything,) if self._sure is None else (everything, self._sure.snapshot(now))


def to_be_reached(now: int, snapshots: Sequence[bytes], known: ReceiverState) -> ReceiverState:
    """The state that these snapshots ask for, at a machine that knows what its instruments were sent (`known`).

    Raises ValueError if one of them is not a snapshot.
    """
    everything, *sure = (ReceiverState.read(now, each) for each in snapshots)
    return everything.corrected(known, sure[0]) if sure else everything
