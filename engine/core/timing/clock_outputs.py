"""The outputs of the rig's clock: which messages each of them gets, and how much later than others."""

from collections import deque
from collections.abc import Iterable
from typing import Final

from engine.core.timing.clock import CLOCK
from engine.core.timing.sync_settings import ClockSettings

_MOST_WAITING: Final = (
    1024  # messages of one output; what is more goes early, so that a flood costs neither order nor memory
)

Sent = list[tuple[int, bytes]]  # output, message


class ClockOutputs:
    """Loop only. Outputs are indices, times in nanoseconds."""

    def __init__(self, settings: ClockSettings | None) -> None:
        self.due: int | None = None  # when `take` next has something
        self._take_settings(settings)

    def _take_settings(self, settings: ClockSettings | None) -> None:
        self.to = settings.to if settings else ()
        self.transport = settings.transport if settings else ()
        self._delays = settings.delays if settings else {}
        self._waiting: dict[int, deque[tuple[int, bytes]]] = {output: deque() for output in self._delays}

    @property
    def delayed(self) -> bool:
        """Whether any output gets the clock later than others."""
        return bool(self._delays)

    def send(self, now: int, messages: Iterable[bytes]) -> Sent:
        """What goes out now of these messages; what an output gets later waits until it is due."""
        sent: Sent = []
        for message in messages:
            for output in self.to if message == CLOCK else self.transport:
                delay = self._delays.get(output)
                if delay is None:
                    sent.append((output, message))
                else:
                    sent += self._put_off(output, now + delay, message)
        return sent

    def _put_off(self, output: int, at: int, message: bytes) -> Sent:
        waiting = self._waiting[output]
        waiting.append((at, message))
        early = [(output, waiting.popleft()[1])] if len(waiting) > _MOST_WAITING else []
        self._look_ahead()
        return early

    def take(self, now: int) -> Sent:
        """What is due by now."""
        sent: Sent = []
        for output, waiting in self._waiting.items():
            while waiting and waiting[0][0] <= now:
                sent.append((output, waiting.popleft()[1]))
        self._look_ahead()
        return sent

    def adopt(self, settings: ClockSettings | None) -> Sent:
        """Take the outputs of an edited rig; what waits goes out now."""
        sent = [(output, message) for output, waiting in self._waiting.items() for _, message in waiting]
        self._take_settings(settings)
        self.due = None
        return sent

    def finish(self) -> Sent:
        """The show ends: of what waits, all but the clocks goes out now."""
        sent = [
            (output, message) for output, waiting in self._waiting.items() for _, message in waiting if message != CLOCK
        ]
        for waiting in self._waiting.values():
            waiting.clear()
        self.due = None
        return sent

    def _look_ahead(self) -> None:
        self.due = min((waiting[0][0] for waiting in self._waiting.values() if waiting), default=None)
