"""Reads what other machines say. What makes no sense is counted, reported once and ignored, until it makes sense."""

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Final, TypeVar

#: why what a machine says is ignored when more comes than can be taken
TOO_MUCH: Final = "comes more often than can be taken, and is left out for five seconds"
_Found = TypeVar("_Found")
_AGAIN: Final = 60_000_000_000  # ns before the same is reported again, if it made sense in between
_UNREAD: Final = 64  # reports that wait for the loop


class _Speaker:
    """One machine, and one kind of thing that it says."""

    def __init__(self) -> None:
        self.garbled = 0
        self.fault: str | None = None  # what is wrong with the last one; None if it made sense
        self.reported_at: int | None = None


class Hearing:
    """Any thread."""

    def __init__(self, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self.news: deque[str] = deque(maxlen=_UNREAD)  # reports for the player, to be taken by the loop
        self._clock = clock
        self._speakers: dict[tuple[str, str], _Speaker] = {}  # of those that said something wrong; by machine and kind
        self._lock = threading.Lock()

    def read(self, machine: str, what: str, read: Callable[[bytes], _Found], payload: bytes) -> _Found | None:
        """What `read` makes of this; None if it raised ValueError, as it must for what makes no sense.

        `machine` and `what` ("lease") are few: the machines of a rig, and the kinds of things that they say.
        """
        try:
            found = read(payload)
        except ValueError as fault:
            self.refuse(machine, what, f"makes no sense and is ignored ({fault})")
            return None
        if self._speakers:
            self._sound(machine, what)
        return found

    def refuse(self, machine: str, what: str, fault: str) -> None:
        """Count and report that what a machine says is ignored, and why."""
        with self._lock:
            speaker = self._speakers.setdefault((machine, what), _Speaker())
            speaker.garbled += 1
            before, speaker.fault = speaker.fault, fault
            now, at = self._clock(), speaker.reported_at
            if before is None and (at is None or now - at >= _AGAIN):
                speaker.reported_at = now
                self.news.append(_sentence(machine, what, fault))

    def _sound(self, machine: str, what: str) -> None:
        speaker = self._speakers.get((machine, what))
        if speaker is not None:
            speaker.fault = None

    def garbled(self, machine: str) -> int:
        """How many things that a machine said made no sense."""
        return sum(found.garbled for (of, _), found in list(self._speakers.items()) if of == machine)

    def problems(self) -> list[str]:
        """What makes no sense now, one sentence for each machine and kind."""
        found = [(*key, speaker.fault) for key, speaker in list(self._speakers.items())]
        return [_sentence(machine, what, fault) for machine, what, fault in found if fault is not None]


def _sentence(machine: str, what: str, fault: str) -> str:
    return f"the {what} of {machine} {fault}"
