"""A cable that notes how long its messages waited, and when its instruments were ready."""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from engine.core.cable.output_cable import BurstUnit, CableCounts, Delivery, OutputCable, Unit
from engine.core.cable.remote_cable import RemoteCable
from engine.core.cable.replaceable_values import replaceable
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import CableSpeed
from engine.midi.kinds import is_press


class SentByCable(NamedTuple):
    """One message on its way out. Times in ns of the engine's clock.

    `handed`: when it was given to the driver; `start`: when its first byte is on the cable; `asked`: when it was
    routed, or its scene was recalled; `ours`: it belongs to a burst, a panic or the end, and no player sent it.
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
    """An instrument was ready: when its burst was requested, its channel (0 to 15), when it had settled."""

    asked: int
    channel: int
    at: int


class TimedCable:
    """An OutputCable around the one that the engine would have. `take` turns deliveries into `SentByCable`."""

    def __init__(self, output: int, speed: CableSpeed | None, remote: bool) -> None:
        """`remote`: its cable is plugged into another machine."""
        self.sent: list[SentByCable] = []
        self.ready: list[InstrumentReady] = []
        self._cable: OutputCable = RemoteCable(output, speed) if remote else Cable(output, speed, self._settled)
        self._asked: dict[bytes, deque[tuple[int, bool]]] = {}  # message -> since when, and whether it is ours
        self._burst_asked: dict[BurstUnit, int] = {}

    # What is as in the other one

    @property
    def output(self) -> int:
        """See OutputCable."""
        return self._cable.output

    @property
    def speed(self) -> CableSpeed | None:
        """See OutputCable."""
        return self._cable.speed

    @property
    def due(self) -> int | None:
        """See OutputCable."""
        return self._cable.due

    @property
    def straight(self) -> bool:
        """See OutputCable: here all that is put is noted."""
        return False

    @property
    def full(self) -> bool:
        """See OutputCable."""
        return self._cable.full

    @property
    def counts(self) -> CableCounts:
        """See OutputCable."""
        return self._cable.counts

    @property
    def carried_at(self) -> int:
        """See OutputCable."""
        return self._cable.carried_at

    @property
    def remote(self) -> RemoteCable | None:
        """See OutputCable."""
        return self._cable.remote

    @property
    def sounds(self) -> Mapping[int, Unit]:
        """See OutputCable."""
        return self._cable.sounds

    def is_on(self, step: BurstUnit) -> bool:
        """See OutputCable."""
        return self._cable.is_on(step)

    def forget_sounds(self) -> None:
        """See OutputCable."""
        self._cable.forget_sounds()

    def flush(self, now: int, out: list[Delivery]) -> None:
        """See OutputCable."""
        self._cable.flush(now, out)

    def change_speed(self, speed: CableSpeed | None) -> None:
        """See OutputCable."""
        self._cable.change_speed(speed)

    def holds(self, message: bytes) -> bool:
        """See OutputCable."""
        return self._cable.holds(message)

    def takes_stray(self, release: bytes) -> bool:
        """See OutputCable."""
        return self._cable.takes_stray(release)

    @property
    def wait(self) -> int:
        """See OutputCable."""
        return self._cable.wait

    def carried(self, now: int) -> int:
        """See OutputCable."""
        return self._cable.carried(now)

    # What is recorded

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        self._record(now, unit, self._cable.put, out)

    def select(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        self._record(now, unit, self._cable.select, out)

    def _record(
        self, now: int, unit: Unit, put: Callable[[int, Unit, list[Delivery]], None], out: list[Delivery]
    ) -> None:
        if self.due is None:  # nothing waits: whatever is still recorded was shed or gave way
            self._asked.clear()
        for message in unit:
            if replaceable(message) is not None:  # the newest of equal values is the one that counts
                self._asked[message] = deque(((now, False),))
            else:
                self._asked.setdefault(message, deque()).append((now, False))
        shed = self.counts.shed
        put(now, unit, out)
        if self.counts.shed > shed:
            self._forget(unit)

    def _forget(self, unit: Unit) -> None:
        """These messages did not fit and are not sent."""
        for message in unit:
            if waiting := self._asked.get(message):
                waiting.pop()

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery], player: str = "") -> Sequence[BurstUnit]:
        """See OutputCable."""
        for step in steps:
            self._burst_asked[step] = now
        needed = self._cable.burst(now, steps, out, player)
        for message in (message for step in needed for message in step.unit):
            self._asked[message] = deque(((now, True),))
        return needed

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """See OutputCable."""
        for gone in [message for message in self._asked if is_press(message)]:
            del self._asked[gone]
        for message in messages:
            self._asked.setdefault(message, deque()).append((now, True))
        self._cable.panic(now, messages, out)

    def take(self, now: int, message: bytes, start: int) -> None:
        """A delivery of this cable was handed over."""
        waiting = self._asked.get(message)
        asked, ours = waiting.popleft() if waiting else (now, False)
        self.sent.append(SentByCable(now, start, asked, message, ours))

    def _settled(self, now: int, step: BurstUnit, ready: int) -> None:
        self.ready.append(InstrumentReady(self._burst_asked.get(step, now), step.channel, ready))
