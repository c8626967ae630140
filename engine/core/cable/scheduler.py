"""A model of one output's cable: what may go now, what must wait, and in which order.

A DIN cable carries 31,250 bits a second, ten bits a byte: 320 µs a byte (MIDI 1.0 p. 1). The wire hands its driver
little more than the cable can carry ahead of now, so that what is urgent can still overtake what waits here.

The order, first to last:

1. real-time bytes, song position and song select, in their own order;
2. the rest of a unit that has begun (bank, bank, program): only real-time bytes may stand inside it;
3. what a panic sends; time code quarter frames;
4. bursts;
5. notes, pedals, programs and everything else that must neither be lost nor change its order;
6. continuous controllers, bends, pressures: a newer value replaces the one that waits;
7. long SysEx.

A crowd of what is first takes turns with the rest, so that a flood of clocks keeps neither panics nor notes away.
A burst step holds its channel from the recall until its instrument has settled; other channels go on.
What waits, and what is shed when too much does, is in `waiting`.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from engine.core.cable.queues import SHORT_SYSEX, CableQueues, Unit
from engine.core.cable.replaceable_values import slot
from engine.midi.kinds import FIRST_REAL_TIME, SYSEX
from engine.rig.models.rig import Output

__all__ = ["DIN", "DIN_RUNNING", "SHORT_SYSEX", "BurstUnit", "Cable", "CableSpeed", "Delivery", "Unit"]

Delivery = tuple[int, bytes, int]  # output, message, time its first byte is on the cable (ns)

_NEVER: Final = 1 << 62
#: so much real time or time code never waits unless a device is broken; it then takes turns with everything else
_CROWD: Final = 8


@dataclass(frozen=True, slots=True)
class CableSpeed:
    """What a wire can carry.

    `byte_ns`: nanoseconds a byte; `ahead_ns`: how far ahead of now the driver may be loaded;
    `overhead`: bytes that each message costs beside its own; `running_status`: whether a status byte that repeats the
    one before is left out (MIDI 1.0 p. A-1).
    """

    byte_ns: int
    ahead_ns: int
    overhead: int = 0
    running_status: bool = False

    def cost(self, message: bytes, status: int = 0) -> int:
        """Nanoseconds this message takes; `status` is the running status before it, 0 if there is none."""
        saved = self.running_status and message[0] == status and status < SYSEX
        return (len(message) + self.overhead - saved) * self.byte_ns


DIN: Final = CableSpeed(byte_ns=320_000, ahead_ns=3_000_000)
DIN_RUNNING: Final = replace(DIN, running_status=True)


def pace(wanted: Output | None, driver: CableSpeed | None) -> CableSpeed | None:
    """How an output of a rig is paced: as its cable is, or as its `driver` wants it."""
    if wanted is None or wanted.wire != "din":
        return driver
    return DIN_RUNNING if wanted.running_status else DIN


def status_after(message: bytes, status: int) -> int:
    """The running status after a message, as a sender keeps it: real-time bytes do not touch it (p. A-2)."""
    return message[0] if message[0] < SYSEX else status if message[0] >= FIRST_REAL_TIME else 0


class BurstUnit(NamedTuple):
    """One instrument's part of a burst: its channel (0 to 15), its messages, and its settle time (ns).

    A SysEx is for all channels, and so is its settle time; `lasting`: a later burst does not replace it.
    """

    channel: int
    unit: Unit
    settle: int
    lasting: bool = False


class Cable:
    """One output's cable. Loop only; every call takes the time in nanoseconds and appends to `out`."""

    def __init__(self, output: int, speed: CableSpeed | None) -> None:
        self.output = output
        self.due: int | None = None  # when `flush` can next do something
        self.full = False  # so much waits that no note may be begun; its release would have no room either
        self.speed = speed  # may change while nothing is known to be on the cable
        self._free_at = 0  # when all that was handed over has left
        self._handed = 0  # ns of the cable that all of it takes
        self._status = 0  # the running status on the cable
        self._sysex_until = 0
        self._inside_free_at = 0  # the same for the real-time bytes inside a SysEx
        self._crowded = False  # a crowd of real time has just had its turn
        self._begun: deque[bytes] = deque()
        self._begun_step: BurstUnit | None = None
        self._panic: deque[bytes] = deque()
        self._steps: deque[BurstUnit] = deque()
        self._held: dict[int, int] = {}  # channel -> when it is free again; _NEVER while its step waits
        self.waiting = CableQueues(self._held)
        self.straight = speed is None  # nothing waits, nothing is held, nothing is paced

    @property
    def carried_at(self) -> int:
        """When the last byte of all that was handed over has left (ns)."""
        return self._free_at

    def holds(self, message: bytes) -> bool:
        """Whether this very SysEx (the object, not its like) still waits here."""
        return self.waiting.holds(message) or any(each is message for each in self._begun)

    def pending(self) -> Iterator[bytes]:
        """All that waits here, about in the order in which it will go."""
        yield from (*self._begun, *self._panic)
        for step in self._steps:
            yield from step.unit
        yield from self.waiting.everything()

    def change_speed(self, speed: CableSpeed | None) -> None:
        """The cable is paced otherwise from now on; what waits goes on waiting for its turn."""
        self.speed = speed
        self.straight = speed is None and self.due is None and not self._held

    # What goes in

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """Routed messages; those of one unit stay together."""
        if self.straight:
            for message in unit:
                out.append((self.output, message, now))
            return
        if self.due is None and len(unit) == 1 and self._hand(now, unit[0], out):
            return
        self.waiting.line_up(unit)
        self.flush(now, out)

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery]) -> None:
        """A scene's steps for this output. Steps of an earlier burst that have not begun are forgotten."""
        if not steps and not self._steps:
            return
        begun = self._begun_step.channel if self._begun_step else None
        anew = any(step.lasting for step in steps)
        self._steps = deque((*(step for step in self._steps if step.lasting and not anew), *steps))
        wanted = {step.channel for step in self._steps}
        if self.waiting.movable:  # the burst is their newer value
            self.waiting.drop({slot(message) for step in steps for message in step.unit})
        for channel, until in list(self._held.items()):
            if until == _NEVER and channel not in wanted and channel != begun:
                self._let_go(channel)
        for channel in wanted:
            self._held.setdefault(channel, _NEVER)
        if self.waiting.movable:
            self.waiting.park(wanted)
        self.straight = False
        self.flush(now, out)

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """Send these before any burst, and forget what waits that would undo them: presses, older values, dumps.

        Releases stay: their presses may have left already, and not every receiver knows All Notes Off.
        """
        silenced = {slot(message) for message in messages}
        if self.waiting.movable:
            self.waiting.drop(silenced, presses=True)
        self.waiting.bulk.clear()
        earlier = [message for message in self._panic if slot(message) is None or slot(message) not in silenced]
        self._panic = deque((*earlier, *messages))
        self.straight = False
        self.flush(now, out)

    # What comes out

    def flush(self, now: int, out: list[Delivery]) -> None:
        """Hand over all that may go at this time."""
        for channel, until in list(self._held.items()):
            if until <= now:
                self._after_settling(channel)
        while self._give_next(now, out):
            pass
        self._plan_wake_up(now)

    def _give_next(self, now: int, out: list[Delivery]) -> bool:
        urgent, code = self.waiting.urgent, self.waiting.code
        stands_back = self._stands_back(now)
        if urgent and not stands_back and (urgent[0][0] >= FIRST_REAL_TIME or not self._begun):
            return self._give_of_crowd(now, urgent, out)
        if code and not stands_back and not self._begun and not self._panic:
            return self._give_of_crowd(now, code, out)
        if not self._give_other(now, out):
            return False
        self._crowded = False
        return True

    def _give_of_crowd(self, now: int, queue: deque[bytes], out: list[Delivery]) -> bool:
        if not self._give(now, queue, out):
            return False
        self._crowded = len(queue) >= _CROWD
        return True

    def _stands_back(self, now: int) -> bool:
        """Whether real time leaves this turn to something else: a flood of it must not keep a panic or a note away."""
        return self._crowded and self._sysex_until <= now and self._first_other() is not None

    def _give_other(self, now: int, out: list[Delivery]) -> bool:
        if self._begun:
            return self._continue(now, out)
        if self._panic:
            return self._give(now, self._panic, out)
        step = next((step for step in self._steps if self._held.get(step.channel, _NEVER) == _NEVER), None)
        if step is not None:
            return self._begin(now, step, out)
        if self.waiting.notes:
            return self._give_unit(now, out)
        if self.waiting.values:
            return self._give_value(now, out)
        return bool(self.waiting.bulk) and self._give(now, self.waiting.bulk, out)

    def _give(self, now: int, queue: deque[bytes], out: list[Delivery]) -> bool:
        if not self._hand(now, queue[0], out):
            return False
        queue.popleft()
        return True

    def _give_unit(self, now: int, out: list[Delivery]) -> bool:
        unit = self.waiting.notes[0]
        if not self._hand(now, unit[0], out):
            return False
        self.waiting.notes.popleft()
        self._begun.extend(unit[1:])
        return True

    def _give_value(self, now: int, out: list[Delivery]) -> bool:
        key, unit = next(iter(self.waiting.values.items()))
        if not self._hand(now, unit[0], out):
            return False
        del self.waiting.values[key]
        return True

    def _begin(self, now: int, step: BurstUnit, out: list[Delivery]) -> bool:
        if not self._hand(now, step.unit[0], out):
            return False
        self._steps.remove(step)
        self._begun.extend(step.unit[1:])
        self._begun_step = step
        self._end_of_step(now)
        return True

    def _continue(self, now: int, out: list[Delivery]) -> bool:
        if not self._give(now, self._begun, out):
            return False
        self._end_of_step(now)
        return True

    def _end_of_step(self, now: int) -> None:
        """Once a step's last byte has been handed over its instrument starts to settle."""
        step = self._begun_step
        if step is None or self._begun:
            return
        self._begun_step = None
        ready = max(self._free_at, now) + step.settle
        channels: tuple[int, ...] = (step.channel,)
        if step.unit[0][0] == SYSEX and step.settle:
            channels = tuple(range(16))
            self.waiting.park(set(channels))
        for channel in channels:
            until = self._held.get(channel, _NEVER)
            self._held[channel] = ready if until == _NEVER else max(ready, until)
        if step.settle == 0:
            self._after_settling(step.channel)

    # Room on the cable

    def carried(self, now: int) -> int:
        """For how long (ns) a paced cable has been carrying anything, from the start till now."""
        return self._handed - max(0, self._free_at - now)

    def _hand(self, now: int, message: bytes, out: list[Delivery]) -> bool:
        speed = self.speed
        if speed is None:
            out.append((self.output, message, now))
            return True
        cost = speed.cost(message, self._status)
        if message[0] >= FIRST_REAL_TIME and self._sysex_until > now:
            return self._hand_inside(now, message, cost, speed.ahead_ns, out)
        free_at = self._free_at
        start = free_at if free_at > now else now
        if start > now and start + cost - now > speed.ahead_ns:
            return False
        self._free_at = start + cost
        self._handed += cost
        if speed.running_status:
            self._status = status_after(message, self._status)
        if message[0] == SYSEX:
            self._sysex_until = self._free_at
        out.append((self.output, message, start))
        return True

    def _hand_inside(self, now: int, message: bytes, cost: int, ahead: int, out: list[Delivery]) -> bool:
        """A real-time byte slips in between the bytes of a SysEx that is on the cable."""
        start = max(self._inside_free_at, now)
        if start > now and start + cost - now > ahead:
            return False
        # a crowd leaves half of the cable to the SysEx, which would never end otherwise
        self._inside_free_at = start + cost * (2 if self._crowded else 1)
        self._free_at += cost
        self._handed += cost
        self._sysex_until += cost
        out.append((self.output, message, start))
        return True

    def _fits_at(self, now: int, message: bytes) -> int:
        """The time at which this message may be handed over."""
        speed = self.speed
        if speed is None:
            return 0
        cost = speed.cost(message, self._status)
        inside = message[0] >= FIRST_REAL_TIME and self._sysex_until > now
        free_at = self._inside_free_at if inside else self._free_at
        return free_at if cost > speed.ahead_ns else free_at + cost - speed.ahead_ns

    def _plan_wake_up(self, now: int) -> None:
        self.full = self.waiting.full
        settled = min(self._held.values(), default=_NEVER)
        waiting = self._first_waiting(now)
        if waiting is None and settled == _NEVER:
            self.due = None
            self.straight = self.speed is None and not self._held
            return
        self.straight = False
        fits = _NEVER if waiting is None else max(self._fits_at(now, waiting), now + 1)
        self.due = min(settled, fits)

    def _first_waiting(self, now: int) -> bytes | None:
        urgent, code = self.waiting.urgent, self.waiting.code
        stands_back = self._stands_back(now)
        if urgent and not stands_back and (urgent[0][0] >= FIRST_REAL_TIME or not self._begun):
            return urgent[0]
        if code and not stands_back and not self._begun and not self._panic:
            return code[0]
        return self._first_other()

    def _first_other(self) -> bytes | None:
        for queue in (self._begun, self._panic):
            if queue:
                return queue[0]
        for step in self._steps:
            if self._held.get(step.channel, _NEVER) == _NEVER:
                return step.unit[0]
        if self.waiting.notes:
            return self.waiting.notes[0][0]
        if self.waiting.values:
            return next(iter(self.waiting.values.values()))[0]
        return self.waiting.bulk[0] if self.waiting.bulk else None

    # Channels that a burst holds

    def _after_settling(self, channel: int) -> None:
        if any(step.channel == channel for step in self._steps):
            self._held[channel] = _NEVER
        else:
            self._let_go(channel)

    def _let_go(self, channel: int) -> None:
        self._held.pop(channel, None)
        self.waiting.unpark(channel)
