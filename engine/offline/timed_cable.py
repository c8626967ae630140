"""A wire that writes down when what it carries was asked for, and when its instruments were ready."""

from collections import deque
from collections.abc import Sequence
from typing import NamedTuple

from engine.core.cable.remote_cable import RemoteCable
from engine.core.cable.replaceable_values import replaceable
from engine.core.cable.scheduler import BurstUnit, Cable, CableSpeed, Delivery, Unit
from engine.midi.kinds import is_press


class SentByCable(NamedTuple):
    """One message on its way out. Times in ns of the bay's clock.

    `handed`: to the driver; `start`: its first byte is on the cable; `asked`: when it was routed, or the scene recalled
    whose burst it belongs to; `ours`: it is of a burst, a panic or the end, and nobody played it.
    """

    handed: int
    start: int
    asked: int
    message: bytes
    ours: bool = False

    @property
    def wait(self) -> int:
        """Nanoseconds that it waited for its turn."""
        return self.start - self.asked


class InstrumentReady(NamedTuple):
    """An instrument had its sounds: when the burst was asked for, channel (0 to 15), when it had settled."""

    asked: int
    channel: int
    at: int


class TimedCable(Cable):
    """`take` turns deliveries into `SentByCable`."""

    def __init__(self, output: int, speed: CableSpeed | None) -> None:
        super().__init__(output, speed)
        self.sent: list[SentByCable] = []
        self.ready: list[InstrumentReady] = []
        self._asked: dict[bytes, deque[tuple[int, bool]]] = {}  # -> since when, and whether it is ours
        self._burst_asked: dict[BurstUnit, int] = {}

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        if self.straight:
            super().put(now, unit, out)
            return
        if self.due is None:  # nothing waits: whatever is still written down was shed or gave way
            self._asked.clear()
        for message in unit:
            if replaceable(message) is not None:  # the newest of equal values is the one that counts
                self._asked[message] = deque(((now, False),))
            else:
                self._asked.setdefault(message, deque()).append((now, False))
        shed = self.waiting.shed
        super().put(now, unit, out)
        if self.waiting.shed > shed:
            self._forget(unit)

    def _forget(self, unit: Unit) -> None:
        """These found no room, and are not sent."""
        for message in unit:
            if waiting := self._asked.get(message):
                waiting.pop()

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery]) -> None:
        for step in steps:
            self._burst_asked[step] = now
            for message in step.unit:
                self._asked[message] = deque(((now, True),))
        super().burst(now, steps, out)

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        for gone in [message for message in self._asked if is_press(message)]:
            del self._asked[gone]
        for message in messages:
            self._asked.setdefault(message, deque()).append((now, True))
        super().panic(now, messages, out)

    def take(self, now: int, message: bytes, start: int) -> None:
        """A delivery of this wire was handed over."""
        waiting = self._asked.get(message)
        asked, ours = waiting.popleft() if waiting else (now, False)
        self.sent.append(SentByCable(now, start, asked, message, ours))

    def _end_of_step(self, now: int) -> None:
        step = self._begun_step
        super()._end_of_step(now)
        if step is not None and self._begun_step is None:
            self.ready.append(
                InstrumentReady(self._burst_asked.get(step, now), step.channel, max(self._free_at, now) + step.settle)
            )


class TimedRemoteCable(TimedCable, RemoteCable):
    """The same for an output whose cable is at another machine: everything leaves at once."""


def timed_cable(output: int, speed: CableSpeed | None, remote: bool) -> TimedCable:
    """A cable of an engine that plays for a rehearsal: see `engine.core.state.CableMaker`."""
    return (TimedRemoteCable if remote else TimedCable)(output, speed)
