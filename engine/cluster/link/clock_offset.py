"""Measures the offset between this machine's clock and the other machines' clocks, and the round trip to each.

Each machine's monotonic clock starts at a value of its own. If a question leaves at `sent`, its answer arrives at
`back`, and the other's clock showed `there`, that clock is `there - (sent + back) / 2` ahead of ours, with an error of
at most half the round trip (the symmetric exchange of RFC 5905 section 8). The quickest of the last questions has the
smallest error. Older ones are dropped, since quartz clocks drift apart by up to 0.1 ms per second.
"""

import secrets
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link

_ANSWER: Final = struct.Struct(">8sQ")  # the program, new at each start, and its clock in nanoseconds
_KEPT: Final = 10  # answers per machine
_EVERY: Final = 1.0  # seconds between questions to one machine
_AT_FIRST: Final = 0.1  # seconds between questions until there are that many answers
_FAREWELL: Final = 1.0  # seconds
_SHOWN: Final = 60  # round trips that are reported


@dataclass(frozen=True)
class RoundTrip:
    """There and back, in nanoseconds, over the last minute."""

    last: int
    least: int
    median: int
    most: int


@dataclass
class _Other:
    """One machine. The loop reads `offset` while the asking thread replaces it."""

    program: bytes = b""
    asked: deque[tuple[int, int]] = field(default_factory=lambda: deque(maxlen=_KEPT))  # round trip, offset
    trips: deque[int] = field(default_factory=lambda: deque(maxlen=_SHOWN))
    offset: int | None = None


class ClockOffsets:
    """Answers questions about this machine's clock, and measures the others'. Any thread."""

    def __init__(
        self,
        link: Link,
        keys: NetworkKeys,
        me: str,
        others: Iterable[str],
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._link = link
        self._keys = keys
        self._clock = clock
        self._program = secrets.token_bytes(8)
        self._others = {name: _Other() for name in others if name != me}
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._go_round, name="link timing", daemon=True)
        link.answer(keys.command(me, "ping"), self._answer)

    def begin(self) -> None:
        """Ask the others in turn, in a thread of its own, until `end`."""
        self._thread.start()

    def end(self) -> None:
        """Stop asking. Blocks until the last question is over: an answer must find the interpreter alive."""
        self._end.set()
        if self._thread.ident is not None:
            self._thread.join(_FAREWELL)

    def ask(self, machine: str) -> bool:
        """Ask one machine now; whether it answered. Blocks up to 0.3 s."""
        sent = self._clock()
        answers = self._link.ask(self._keys.command(machine, "ping"), b"")
        back = self._clock()
        if not answers or len(answers[0]) != _ANSWER.size:
            return False
        program, there = _ANSWER.unpack(answers[0])
        self._note(self._others[machine], program, there - (sent + back) // 2, back - sent)
        return True

    def look(self, machine: str) -> None:
        """Ask one machine. One that is silent twice may have restarted: its offset is unknown until it answers.

        Blocks as `ask` does.
        """
        other = self._others[machine]
        if self.ask(machine):
            return
        if not other.trips:
            other.offset = None
            other.asked.clear()
        other.trips.clear()

    def here(self, machine: str, stamp: int, now: int) -> int:
        """The time by our clock when it was `stamp` there (ns): at most `now`, and `now` if not known yet."""
        offset = self._others[machine].offset
        return now if offset is None else min(now, stamp - offset)

    def round_trip(self, machine: str) -> RoundTrip | None:
        """The time there and back; None before the first answer, and while the machine does not answer."""
        trips = sorted(self._others[machine].trips)
        if not trips:
            return None
        return RoundTrip(self._others[machine].trips[-1], trips[0], trips[len(trips) // 2], trips[-1])

    def _answer(self, question: bytes) -> bytes:
        return _ANSWER.pack(self._program, self._clock())

    def _note(self, other: _Other, program: bytes, offset: int, trip: int) -> None:
        if program != other.program:  # restarted, perhaps with its computer and so with its clock
            other.program = program
            other.asked.clear()
        other.asked.append((trip, offset))
        other.trips.append(trip)
        other.offset = min(other.asked)[1]

    def _go_round(self) -> None:
        while not self._end.wait(_AT_FIRST if self._is_new() else _EVERY):
            for name in self._others:
                if self._end.is_set():
                    return
                self.look(name)

    def _is_new(self) -> bool:
        """Whether a machine that answers has not been asked often enough yet."""
        return any(other.trips and len(other.asked) < _KEPT for other in self._others.values())
