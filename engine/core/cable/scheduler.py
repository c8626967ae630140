"""The cable of an output that is plugged in here: what goes now, what waits, and in which order it leaves.

The cable is paced at its speed (see `Transmission`); what waits is in queues by kind, which shed when too much waits
(see `queues`). A burst step holds its channel from the recall until its instrument has settled; other channels go on.
"""

from collections import deque
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from enum import IntEnum, auto
from typing import Final

from engine.core.cable.channel_sounds import ChannelSounds, is_sound, selects_sound
from engine.core.cable.output_cable import BurstUnit, CableCounts, Delivery, Unit
from engine.core.cable.queues import CableQueues
from engine.core.cable.replaceable_values import slot
from engine.core.cable.speed import CableSpeed
from engine.core.cable.transmission import Transmission
from engine.midi.kinds import FIRST_REAL_TIME, SYSEX

#: called with the time, a step whose last byte is handed over, and the time at which its instrument will have settled
StepListener = Callable[[int, BurstUnit, int], None]

_NEVER: Final = 1 << 62
#: this many real-time bytes or quarter frames wait only if a device is broken
_CROWD: Final = 8
_OCTETS: Final = 3  # of most messages


class _Rank(IntEnum):
    """The order in which things leave, first to last; `Cable._next` finds the first of them that has something to send.

    A crowd of real time or time code takes turns with all the rest, so that a flood of it keeps nothing away.
    """

    REAL_TIME = auto()  # real-time bytes, song position, song select: worth nothing when they are late
    BEGUN = auto()  # the rest of a unit (bank, bank, program), inside which only real-time bytes may stand
    PANIC = auto()  # silence before anything that sounds
    TIME_CODE = auto()  # quarter frames and tune requests: each is late by one message at most
    STEP = auto()  # bursts: the instruments must be on their sounds before the notes that are meant for them
    NOTES = auto()  # notes, pedals, programs and all else that must neither be lost nor change its order
    VALUES = auto()  # controllers, bends, pressures: nothing is lost by waiting, since the newest value counts
    BULK = auto()  # long SysEx, which occupies the cable for seconds


class Cable:
    """An OutputCable. Loop only."""

    remote: None = None

    def __init__(self, output: int, speed: CableSpeed | None, on_step: StepListener | None = None) -> None:
        self.output = output
        self.due: int | None = None
        self.full = False
        self.straight = speed is None  # nothing waits, nothing is held, nothing is paced
        self.counts = CableCounts()
        self._on_step = on_step
        self._line = Transmission(output, speed)
        self._crowded = False  # a crowd of sync has just had its turn
        self._begun: deque[bytes] = deque()
        self._begun_step: BurstUnit | None = None
        self._panic: deque[bytes] = deque()
        self._steps: deque[BurstUnit] = deque()
        self._sounds = ChannelSounds()  # of what was handed over; a step that has begun counts whole
        self._selects = False  # whether routed banks and programs may wait, to be noted when they are handed over
        self._held: dict[int, int] = {}  # channel -> when it is free again; _NEVER while its step waits
        self.queues = CableQueues(self._held, self.counts)

    @property
    def speed(self) -> CableSpeed | None:
        """See OutputCable."""
        return self._line.speed

    @property
    def carried_at(self) -> int:
        """See OutputCable."""
        return self._line.free_at

    def carried(self, now: int) -> int:
        """See OutputCable."""
        return self._line.carried(now)

    @property
    def wait(self) -> int:
        """See OutputCable."""
        if self.due is None or self.speed is None:
            return 0
        return (len(self.queues.notes) + len(self.queues.values)) * _OCTETS * self.speed.byte_ns

    def holds(self, message: bytes) -> bool:
        """See OutputCable."""
        return self.queues.holds(message) or any(each is message for each in self._begun)

    def takes_stray(self, release: bytes) -> bool:
        """See OutputCable."""
        return not self.queues.ends(release)

    @property
    def sounds(self) -> Mapping[int, Unit]:
        """See OutputCable."""
        if self.due is None:
            return self._sounds.sounds
        ahead = self._sounds.copy()
        for message in self.pending():
            ahead.note(message)
        return ahead.sounds

    def is_on(self, step: BurstUnit) -> bool:
        """See OutputCable."""
        return not self._needed((step,), self._staying(step.player))

    def forget_sounds(self) -> None:
        """See OutputCable."""
        self._sounds = ChannelSounds()

    def pending(self) -> Iterator[bytes]:
        """All that waits here, about in the order in which it will go."""
        yield from (*self._begun, *self._panic)
        for step in self._steps:
            yield from step.unit
        yield from self.queues.everything()

    def change_speed(self, speed: CableSpeed | None) -> None:
        """See OutputCable."""
        self._line.speed = speed
        self.straight = speed is None and self.due is None and not self._held

    # What goes in

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        if self.straight:
            for message in unit:
                out.append((self.output, message, now))
            return
        if self.due is None and len(unit) == 1 and self._line.hand(now, unit[0], out):
            return
        self.queues.line_up(unit)
        self.flush(now, out)

    def select(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        if self.straight:
            for message in unit:
                self._sounds.note(message)
            self.put(now, unit, out)
            return
        self._selects = True
        self.queues.line_up(unit)
        self.flush(now, out)

    def burst(
        self, now: int, steps: Sequence[BurstUnit], out: list[Delivery], player: str | None = ""
    ) -> Sequence[BurstUnit]:
        """See OutputCable; with None in place of those of everybody."""
        if self.straight and _independent(steps):
            is_on = self._sounds.is_on
            needed = [step for step in steps if step.always or not is_on(step)]  # nothing is on its way
            return self._send_steps(now, needed, out) if needed else ()
        staying = self._staying(player)
        changing = self._needed(steps, staying) if steps else ()
        if not changing and not self._steps:
            return ()
        self._steps = deque((*_not_replaced(staying, steps), *changing) if staying else changing)
        channels = {step.channel for step in self._steps}
        movable = self.queues.movable
        if movable:  # the burst is their newer value
            self.queues.drop({slot(message) for step in changing for message in step.unit})
        if self._held:
            self._let_go(channels)
        for channel in channels:
            self._held.setdefault(channel, _NEVER)
        if movable:
            self.queues.park(channels)
        self.straight = False
        self.flush(now, out)
        return changing

    def _send_steps(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery]) -> Sequence[BurstUnit]:
        """Hand over these independent steps, as `flush` would do where nothing waits."""
        begin = max(self._line.free_at, now)
        for step in steps:
            for message in step.unit:
                out.append((self.output, message, now))
            self._sounds.note_step(step)
            if self._on_step is not None:
                self._on_step(now, step, begin + step.settle)
            if step.settle:
                self._held[step.channel] = begin + step.settle
        if self._held:
            self.straight, self.due = False, min(self._held.values())
        return steps

    def _let_go(self, channels: Container[int]) -> None:
        """Those that wait for a step that is not to be sent any more are free; `channels`: for which steps wait."""
        begun = self._begun_step.channel if self._begun_step else None
        waiting = [channel for channel, until in self._held.items() if until == _NEVER]
        for channel in waiting:
            if channel not in channels and channel != begun:
                self._release(channel)

    def _staying(self, player: str | None) -> list[BurstUnit]:
        """The waiting steps that another burst of this player may leave there."""
        return [step for step in self._steps if step.stays_for(player)]

    def _needed(self, steps: Sequence[BurstUnit], staying: Sequence[BurstUnit]) -> Sequence[BurstUnit]:
        """Those of a burst's steps that are to be sent, while others are `staying`."""
        # channels to which another bank or program is on its way
        changing = {step.channel for step in staying if step.selects}
        if self._selects:
            waiting = (*self.queues.everything(), *(() if self._begun_step else self._begun))
            changing |= {message[0] & 0x0F for message in waiting if selects_sound(message)}
        needed: list[BurstUnit] = []
        for step in steps:
            if step.always or step.channel in changing or not self._sounds.is_on(step):
                needed.append(step)
                if step.chooses or is_sound(step.unit) or any(map(selects_sound, step.unit)):
                    changing.add(step.channel)
        return needed

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """See OutputCable.

        Releases stay, one a key: their presses may have left already, and not every receiver knows All Notes Off.
        """
        silenced, again = {slot(message) for message in messages}, set(messages)
        if self.queues.movable:
            self.queues.drop(silenced, presses=True)
        self.queues.bulk.clear()
        earlier = [each for each in self._panic if each not in again and (slot(each) or ()) not in silenced]
        self._panic = deque((*earlier, *messages))
        self.straight = False
        self.flush(now, out)

    # What comes out

    def flush(self, now: int, out: list[Delivery]) -> None:
        """See OutputCable."""
        for channel in [channel for channel, until in self._held.items() if until <= now]:
            self._after_settling(channel)
        following = self._next(now)
        while following is not None and self._line.hand(now, following[1], out, self._crowded):
            if self._selects and following[0] is not _Rank.STEP and self._begun_step is None:
                self._sounds.note(following[1])
            self._take(now, following[0], out)
            following = self._next(now)
        self._plan_wake_up(now, None if following is None else following[1])

    def _next(self, now: int) -> tuple[_Rank, bytes] | None:
        """What leaves next, as soon as it fits: its rank and its first message."""
        queues = self.queues
        stands_back = self._crowded and self._line.sysex_until <= now
        if queues.urgent and not stands_back and (queues.urgent[0][0] >= FIRST_REAL_TIME or not self._begun):
            return _Rank.REAL_TIME, queues.urgent[0]
        if self._begun:
            return _Rank.BEGUN, self._begun[0]
        if self._panic:
            return _Rank.PANIC, self._panic[0]
        if queues.code and not stands_back:
            return _Rank.TIME_CODE, queues.code[0]
        return self._next_music() or self._next_of_crowd()

    def _next_music(self) -> tuple[_Rank, bytes] | None:
        queues = self.queues
        if self._steps and (step := self._next_step()) is not None:
            return _Rank.STEP, step.unit[0]
        if queues.notes:
            return _Rank.NOTES, queues.notes[0][0]
        if queues.values:
            return _Rank.VALUES, next(iter(queues.values.values()))[0]
        return (_Rank.BULK, queues.bulk.first) if queues.bulk else None

    def _next_of_crowd(self) -> tuple[_Rank, bytes] | None:
        """There is nothing for which a crowd has to stand back."""
        queues = self.queues
        if queues.urgent:
            return _Rank.REAL_TIME, queues.urgent[0]
        return (_Rank.TIME_CODE, queues.code[0]) if queues.code else None

    def _next_step(self) -> BurstUnit | None:
        """The first step whose instrument is not settling; none overtakes a SysEx, which may reset all instruments."""
        for step in self._steps:
            if self._held.get(step.channel, _NEVER) == _NEVER:
                return step
            if step.unit[0][0] == SYSEX:
                break
        return None

    def _take(self, now: int, rank: _Rank, out: list[Delivery]) -> None:
        """The first of this rank was handed over."""
        queues = self.queues
        if rank is _Rank.REAL_TIME or rank is _Rank.TIME_CODE:
            crowd = queues.urgent if rank is _Rank.REAL_TIME else queues.code
            crowd.popleft()
            self._crowded = len(crowd) >= _CROWD
            return
        self._crowded = False
        if rank is _Rank.NOTES:
            self._begun.extend(queues.notes.popleft()[1:])
        elif rank is _Rank.VALUES:
            del queues.values[next(iter(queues.values))]
        elif rank is _Rank.BEGUN:
            self._begun.popleft()
            self._end_of_step(now)
        elif rank is _Rank.STEP:
            self._begin_step(now, out)
        else:
            (self._panic if rank is _Rank.PANIC else queues.bulk).popleft()

    def _plan_wake_up(self, now: int, following: bytes | None) -> None:
        self.full = self.queues.full
        settled = min(self._held.values(), default=_NEVER)
        if following is None and settled == _NEVER:
            self.due = None
            self._selects = False
            self.straight = self.speed is None and not self._held
            return
        self.straight = False
        fits = _NEVER if following is None else max(self._line.fits_at(now, following), now + 1)
        self.due = min(settled, fits)

    # Bursts, and the channels that they hold

    def _begin_step(self, now: int, out: list[Delivery]) -> None:
        step = self._next_step()
        assert step is not None  # its first message was handed over
        self._steps.remove(step)
        unit, gone = step.unit, 1
        if not self.queues.urgent:  # what `flush` would do with each
            while gone < len(unit) and self._line.hand(now, unit[gone], out):
                gone += 1
        self._begun.extend(unit[gone:])
        self._begun_step = step
        self._sounds.note_step(step)
        self._end_of_step(now)

    def _end_of_step(self, now: int) -> None:
        """Once a step's last byte has been handed over its instrument starts to settle."""
        step = self._begun_step
        if step is None or self._begun:
            return
        self._begun_step = None
        ready = max(self._line.free_at, now) + step.settle
        if self._on_step is not None:
            self._on_step(now, step, ready)
        channels: tuple[int, ...] = (step.channel,)
        if step.unit[0][0] == SYSEX and step.settle:
            channels = tuple(range(16))
            self.queues.park(set(channels))
        for channel in channels:
            until = self._held.get(channel, _NEVER)
            self._held[channel] = ready if until == _NEVER else max(ready, until)
        if step.settle == 0:
            self._after_settling(step.channel)

    def _after_settling(self, channel: int) -> None:
        if any(step.channel == channel for step in self._steps):
            self._held[channel] = _NEVER
        else:
            self._release(channel)

    def _release(self, channel: int) -> None:
        self._held.pop(channel, None)
        self.queues.unpark(channel)


def _not_replaced(waiting: Iterable[BurstUnit], steps: Sequence[BurstUnit]) -> Iterator[BurstUnit]:
    """Those of these waiting steps that no equal step, and no other sound of their channel, replaces."""
    selected = {step.channel for step in steps if step.selects}
    for step in waiting:
        if step not in steps and not (step.selects and step.channel in selected):
            yield step


def _independent(steps: Sequence[BurstUnit]) -> bool:
    """Whether no step has to wait for another one of these, as a second one of its channel or behind a SysEx would."""
    if len(steps) == 1:  # as mostly
        return steps[0].unit[0][0] != SYSEX
    channels = {step.channel for step in steps if step.unit[0][0] != SYSEX}
    return len(channels) == len(steps)
