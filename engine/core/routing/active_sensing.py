"""Active sensing: inputs that fell silent, and outputs that are to be kept awake (MIDI 1.0 p. 32).

An input that has sent FE once promises something at least every 300 ms; a loss is judged past 330 ms, and then the
input counts as unplugged until it speaks again. Outputs that ask for it, or that were ever sent an FE, get one every
250 ms: a receiver that has heard one and then nothing would cut its voices.
"""

from collections.abc import Container, Iterable
from typing import Final

from engine.midi.kinds import ACTIVE_SENSING

SENSE: Final = bytes((ACTIVE_SENSING,))
JUDGED_AFTER: Final = 330_000_000  # ns
SENT_EVERY: Final = 250_000_000  # ns; 270 ms are advised, less what a busy loop may be late


class ActiveSensing:
    """Loop only. Inputs and outputs are indices; time in nanoseconds."""

    def __init__(self, outputs: Iterable[int]) -> None:
        """`outputs`: those that ask for active sensing."""
        self.heard_at: dict[int, int] = {}  # inputs that promised to speak -> when they last did; written by the engine
        self.silent: set[int] = set()  # inputs that broke the promise and have not spoken since
        self.outputs = set(outputs)
        self._next = 0

    @property
    def due(self) -> int | None:
        """When `silenced` or `wanted` next has something, or None."""
        judged = min(self.heard_at.values()) + JUDGED_AFTER if self.heard_at else None
        if not self.outputs:
            return judged
        return self._next if judged is None else min(self._next, judged)

    def silenced(self, now: int) -> list[int]:
        """Inputs that have just been silent for too long; the first FE after this arms the watch again."""
        found = [source for source, at in self.heard_at.items() if now - at >= JUDGED_AFTER]
        for source in found:
            del self.heard_at[source]
            self.silent.add(source)
        return found

    def adopt(self, outputs: Iterable[int], still: Container[int]) -> None:
        """An edited rig: these outputs ask for active sensing, and of those that were sent it these are `still` there.

        The next one is due at once.
        """
        self.outputs = set(outputs) | {output for output in self.outputs if output in still}
        self._next = 0

    def carry(self, now: int, outputs: Iterable[int]) -> None:
        """An FE of an input goes out here: from now on these are kept awake, whatever becomes of the input."""
        if not self.outputs:
            self._next = now + SENT_EVERY
        self.outputs.update(outputs)

    def forget(self, source: int) -> None:
        """This input was unplugged or comes back: it has promised nothing."""
        self.heard_at.pop(source, None)
        self.silent.discard(source)

    def excuse(self, now: int) -> None:
        """Time has passed in which nobody could be heard."""
        for source in self.heard_at:
            self.heard_at[source] = now

    def wanted(self, now: int) -> Iterable[int]:
        """Outputs that are to be sent an FE now."""
        if not self.outputs or now < self._next:
            return ()
        self._next = now + SENT_EVERY
        return sorted(self.outputs)
