"""The queues of what waits on one output's cable, by kind, and what they shed when too much waits.

Values of controllers, bends and pressures are replaced by newer ones of the same thing. Notes and everything else that
must neither be lost nor change its order wait in one queue. Those of a channel that a burst holds are parked.

A full cable (a broken device can send thirty times what a cable carries) sheds and counts everything but

* releases: no note begins on a full cable, so a few of each key are enough to end all that sound, and of those whose
  press is not known, the first of each key;
* pedals, banks, programs and whatever else sets one thing: the newest of each stays, in the order they came in.
"""

from collections import deque
from collections.abc import Container, Iterator
from typing import Final

from engine.core.cable.bulk_queue import BulkQueue
from engine.core.cable.kept_unit import KeptUnit
from engine.core.cable.output_cable import CableCounts, Unit
from engine.core.cable.replaceable_values import VOID_WITH, Slot, replaceable, resets, slot
from engine.midi.kinds import FIRST_REAL_TIME, SYSEX, is_press, is_release

#: a SysEx up to this length keeps its place among the notes: 32 bytes are 10 ms of a DIN cable
SHORT_SYSEX: Final = 32

#: units of notes and the like: four seconds of a dense song on a DIN cable
MOST_NOTES: Final = 4096
#: releases of one key that a full cable still takes: more, without presses, would only fill it
MOST_RELEASES: Final = 16
#: real-time bytes and time code: any more would come too late to be of use
MOST_URGENT: Final = 64


class CableQueues:
    """The queues of one cable. `held`: the channels whose units are parked."""

    def __init__(self, held: Container[int], counts: CableCounts) -> None:
        self._counts = counts
        self.urgent: deque[bytes] = deque()
        self.code: deque[bytes] = deque()
        self.notes: deque[Unit] = deque()
        self.values: dict[object, Unit] = {}
        self.bulk = BulkQueue()
        self._held = held
        self._parked: dict[int, dict[object, Unit]] = {}  # by channel, oldest first
        self._ended: dict[tuple[int, int], int] = {}  # channel, key -> releases that were queued since it is full

    @property
    def full(self) -> bool:
        """Whether so much waits that no other note may begin."""
        waiting = len(self.notes)
        for parked in self._parked.values():
            waiting += len(parked)
        return waiting >= MOST_NOTES

    @property
    def movable(self) -> bool:
        """Whether anything waits that a burst or a panic may replace, or a burst park."""
        return bool(self.notes or self.values or self._parked)

    def line_up(self, unit: Unit) -> None:
        """Put a unit into its queue, or shed it."""
        if len(unit) > 1 and not _of_one_kind(unit):
            for message in unit:
                self.line_up((message,))
            return
        message = unit[0]
        status = message[0]
        if status < SYSEX:
            held = status & 0x0F in self._held
            self._take(unit, self._parked.setdefault(status & 0x0F, {}) if held else None)
        elif status >= FIRST_REAL_TIME or status in (0xF2, 0xF3):
            self._append(self.urgent, message, len(self.urgent) < MOST_URGENT)
        elif status != SYSEX:
            self._append(self.code, message, len(self.code) < MOST_URGENT)
        elif len(unit) == 1 and len(message) > SHORT_SYSEX:
            self._append(self.bulk, message, self.bulk.has_room_for(message))
        elif self.full:
            self._counts.shed += len(unit)
        else:
            self.notes.append(unit)

    def ends(self, release: bytes) -> bool:
        """Whether a release of this key was queued since the cable is full."""
        return (release[0] & 0x0F, release[1]) in self._ended

    def holds(self, message: bytes) -> bool:
        """Whether this very SysEx waits here."""
        if len(message) > SHORT_SYSEX:
            return any(each is message for each in self.bulk)
        return any(each is message for unit in self.notes for each in unit)

    def everything(self) -> Iterator[bytes]:
        """All that waits, about in the order in which it will go."""
        yield from (*self.urgent, *self.code)
        for unit in (
            *self.notes,
            *self.values.values(),
            *(u for parked in self._parked.values() for u in parked.values()),
        ):
            yield from unit
        yield from self.bulk

    def drop(self, slots: set[Slot | None], presses: bool = False) -> None:
        """Forget what waits and sets one of these; with `presses` all presses, too, and all but one release a key."""
        slots = slots | {VOID_WITH[each] for each in slots if each in VOID_WITH}
        released: set[tuple[int, int]] = set()  # channel, key

        def stays(unit: Unit) -> bool:
            if presses and len(unit) == 1 and is_release(unit[0]):
                key = unit[0][0] & 0x0F, unit[0][1]
                first = key not in released
                released.add(key)
                return first
            return not any(found in slots if (found := slot(m)) else presses and is_press(m) for m in unit)

        self.notes = deque(filter(stays, self.notes))
        for queued in (self.values, *self._parked.values()):
            for key in [key for key, unit in queued.items() if not stays(unit)]:
                del queued[key]

    def park(self, channels: set[int]) -> None:
        """Move what waits for these channels out of the queues, oldest first, until `unpark`."""
        staying: deque[Unit] = deque()
        for unit in self.notes:
            channel = unit[0][0] & 0x0F
            if unit[0][0] < SYSEX and channel in channels:
                self._queue(unit, self._parked.setdefault(channel, {}))
            else:
                staying.append(unit)
        self.notes = staying
        for key, unit in list(self.values.items()):
            channel = unit[0][0] & 0x0F
            if channel in channels:
                self._queue(unit, self._parked.setdefault(channel, {}))
                del self.values[key]

    def unpark(self, channel: int) -> None:
        """This channel is free: queue what was parked for it."""
        for unit in self._parked.pop(channel, {}).values():
            self._queue(unit, None)

    def _append(self, queue: deque[bytes] | BulkQueue, message: bytes, room: bool) -> None:
        if room:
            queue.append(message)
        else:
            self._counts.shed += 1

    def _take(self, unit: Unit, parked: dict[object, Unit] | None) -> None:
        """Queue a channel's unit, or park it."""
        if not self.full:
            self._ended.clear()
            self._queue(unit, parked)
            return
        if is_release(unit[0]):
            self._take_release(unit, parked)
            return
        queued = self.values if parked is None else parked
        for message in unit:
            key = slot(message)
            if key is None:
                self._counts.shed += 1
            else:
                self._counts.replaced += queued.pop(key, None) is not None
                self._replace(queued, key, (message,))

    def _take_release(self, unit: Unit, parked: dict[object, Unit] | None) -> None:
        """The cable is full."""
        key = unit[0][0] & 0x0F, unit[0][1]
        self._ended[key] = ended = self._ended.get(key, 0) + 1
        if ended <= MOST_RELEASES:
            self._queue(unit, parked)
        else:
            self._counts.shed += len(unit)

    def _queue(self, unit: Unit, parked: dict[object, Unit] | None) -> None:
        key = replaceable(unit[0]) if len(unit) == 1 and not isinstance(unit, KeptUnit) else None
        if key is not None:
            self._replace(self.values if parked is None else parked, key, unit)
        elif parked is None:
            if resets(unit[0]):
                self._settle_values(unit[0][0])
            self._outdate(self.values, unit)  # what waits there would come after this, though it is older
            self.notes.append(unit)
        else:
            if resets(unit[0]):
                _keep_places(parked)
            self._outdate(parked, unit)
            parked[object()] = unit  # a key of its own: never replaced

    def _outdate(self, queued: dict[object, Unit], unit: Unit) -> None:
        """These messages are newer than what waits and sets the same, and than the LSBs that they set to 0."""
        for message in unit:
            key = slot(message)
            if key is not None:
                self._counts.replaced += queued.pop(key, None) is not None
                self._counts.replaced += queued.pop(VOID_WITH.get(key), None) is not None

    def _replace(self, queued: dict[object, Unit], key: Slot, unit: Unit) -> None:
        self._counts.replaced += key in queued
        self._counts.replaced += queued.pop(VOID_WITH.get(key), None) is not None
        queued[key] = unit

    def _settle_values(self, status: int) -> None:
        """Queue the values of a channel that wait before what comes now; none may replace them later."""
        for key in [key for key, unit in self.values.items() if unit[0][0] & 0x0F == status & 0x0F]:
            self.notes.append(self.values.pop(key))


def _of_one_kind(unit: Unit) -> bool:
    """Whether a unit's messages belong into one queue: all of one channel, or all SysEx."""
    if unit[0][0] < SYSEX:
        return all(message[0] < SYSEX and (message[0] ^ unit[0][0]) & 0x0F == 0 for message in unit)
    return all(message[0] == SYSEX for message in unit)


def _keep_places(parked: dict[object, Unit]) -> None:
    """From now on nothing that is parked can be replaced."""
    units = list(parked.values())
    parked.clear()
    parked.update((object(), unit) for unit in units)
