"""A bounded queue of one input's messages on their way to the loop.

Only a faulty device fills it: the loop takes a thousand messages in about ten milliseconds. When it is full, presses
and other messages that cannot be late are dropped and counted, only the newest value of each controller, bend, pressure
and program is kept, and releases are never dropped. (Beyond a second limit, a release is dropped if the same one
waits already: it says nothing new.)
"""

from collections import deque
from typing import Final

from engine.core.cable.replaceable_values import slot
from engine.midi.kinds import is_release

_MOST: Final = 8192  # messages: the whole set-up that a sequencer sends at once
_MOST_RELEASES: Final = 4 * _MOST
_EACH: Final = 125_000  # ns: 8,000 messages per second are eight full DIN cables, or ten fingers that bend and press
_AHEAD: Final = _MOST * _EACH  # ns: this many may come at once


#: one message: when it was read (ns), from which input (index), and itself
Arrival = tuple[int, int, bytes]


class Backlog:
    """Filled by the reader thread, emptied by the loop."""

    def __init__(self, source: int) -> None:
        self.shed = 0  # messages that were dropped, or replaced by newer ones
        self._source = source
        self.queue: deque[Arrival] = deque()  # what can be taken, oldest first
        self.late: dict[object, Arrival] = {}  # what is kept of a flood until there is room, oldest first
        self._paid_until = (
            -_AHEAD
        )  # ns: each message taken costs time, so that a flood leaves the loop to the other inputs

    def put(self, at: int, messages: list[bytes]) -> None:  # reader thread
        """These have arrived."""
        self.put_stamped([(at, message) for message in messages])

    def put_stamped(self, events: list[tuple[int, bytes]]) -> None:  # reader thread
        """These have arrived, each at its time."""
        source, queue = self._source, self.queue
        if self.late or len(queue) + len(events) > _MOST:
            for at, message in events:
                self._squeeze((at, source, message))
        else:
            for at, message in events:
                queue.append((at, source, message))

    def settle(self) -> None:  # reader thread
        """Once there is room again, queue what was kept of the flood."""
        if self.late and len(self.queue) < _MOST // 2:
            self.queue.extend(self.late.values())
            self.late.clear()

    def take(self, now: int, most: int) -> list[Arrival]:  # loop only
        """The oldest messages: at most `most`, and no more than a sound device may have sent by now (ns)."""
        queue, paid = self.queue, self._paid_until
        if paid < now - _AHEAD:
            paid = now - _AHEAD
        count = len(queue)
        if count > most:
            count = most
        if now - paid < count * _EACH:
            count = (now - paid) // _EACH
        self._paid_until = paid + count * _EACH
        return [queue.popleft() for _ in range(count)]

    def __len__(self) -> int:  # any thread
        return len(self.queue) + len(self.late)

    def _squeeze(self, arrival: Arrival) -> None:
        message = arrival[2]
        if is_release(message):
            if len(self.queue) < _MOST_RELEASES:
                self.queue.append(arrival)
                return
            key: object = message
        else:
            key = slot(message)
        self.shed += key is None or key in self.late
        if key is not None:
            self.late.pop(key, None)
            self.late[key] = arrival
