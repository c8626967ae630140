"""Active sensing: finds inputs that fell silent, and keeps outputs awake (MIDI 1.0 p. 32).

An input that has sent FE once promises to send something at least every 300 ms. After 330 ms of silence it counts as
unplugged until it sends again. Outputs that ask for active sensing, or that were ever sent an FE, get one every 250 ms:
a receiver that has had one and then nothing would cut its voices.
"""

from collections.abc import Container, Iterable
from typing import Final

from engine.midi.kinds import ACTIVE_SENSING

SENSE: Final = bytes((ACTIVE_SENSING,))
JUDGED_AFTER: Final = 330_000_000  # ns
SENT_EVERY: Final = 250_000_000  # ns; 270 ms are advised, less the delay of a busy loop


class ActiveSensing:
    """Loop only. Inputs and outputs are indices; time in nanoseconds."""

    def __init__(self, outputs: Iterable[int]) -> None:
        """`outputs`: those that ask for active sensing."""
        self.heard_at: dict[int, int] = {}  # inputs that promised to send -> when they last did; the engine updates it
        self.silent: set[int] = set()  # inputs that broke the promise and have sent nothing since
        self.outputs = set(outputs)
        self._next = 0

    @property
    def due(self) -> int | None:
        """When `silenced` or `outputs_due` next has something, or None."""
        judged = min(self.heard_at.values()) + JUDGED_AFTER if self.heard_at else None
        if not self.outputs:
            return judged
        return self._next if judged is None else min(self._next, judged)

    def silenced(self, now: int) -> list[int]:
        """Inputs that have just been silent for too long; the next FE starts their watch again."""
        found = [source for source, at in self.heard_at.items() if now - at >= JUDGED_AFTER]
        for source in found:
            del self.heard_at[source]
            self.silent.add(source)
        return found

    def adopt(self, outputs: Iterable[int], still: Container[int]) -> None:
        """Take the outputs that ask for it in an edited rig; others that were sent it keep it if `still` there.

        The next FE is due at once.
        """
        self.outputs = set(outputs) | {output for output in self.outputs if output in still}
        self._next = 0

    def carry(self, now: int, outputs: Iterable[int]) -> None:
        """An FE of an input goes to these outputs: keep them awake from now on, whatever becomes of the input."""
        if not self.outputs:
            self._next = now + SENT_EVERY
        self.outputs.update(outputs)

    def forget(self, source: int) -> None:
        """This input was unplugged or plugged in: it has promised nothing."""
        self.heard_at.pop(source, None)
        self.silent.discard(source)

    def excuse(self, now: int) -> None:
        """Time has passed in which nothing could arrive."""
        for source in self.heard_at:
            self.heard_at[source] = now

    def outputs_due(self, now: int) -> Iterable[int]:
        """Outputs that need an FE now."""
        if not self.outputs or now < self._next:
            return ()
        self._next = now + SENT_EVERY
        return sorted(self.outputs)
