"""Reads all inputs: one thread polls them, stamps the messages with their time, queues them and wakes the loop.

The thread never routes and never raises. It sleeps where a message can wake it, if the driver of an input lets it. It
also wakes the loop when the core has something due, so that pacing does not depend on the loop's own timers, which are
up to a millisecond late.
"""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from operator import itemgetter
from typing import Final

from engine.core.cable.replaceable_values import slot
from engine.core.routing.loops import QUESTION
from engine.fault_log import faults
from engine.live.descriptor_wait import DescriptorWait, descriptor_wait
from engine.midi.kinds import SYSEX, is_release
from engine.ports.port import (
    AwaitedInput,
    InputPort,
    MessagesLost,
    PeriodicInput,
    PortError,
    StampedInput,
    WatchableInput,
)

# Seconds between polls. The first note after a rest waits at most 1/2000 of that rest, and never longer than _IDLE.
_HEARD: Final = 0.0005  # after a poll that brought something: the loop routes it, and needs Python's lock for that
_PLAYING: Final = 0.00025
_IDLE: Final = 0.002
_AWAITED: Final = 0.25  # if all inputs can be waited for: only the end of the show needs a look then
_QUIET: Final = 0.1  # without a message, after which the descriptors of the inputs are waited for, if all have some
_WATCHED: Final = 0.05  # for so long, since not all that may befall an input stirs its descriptors
_FOLLOWS: Final = 0.00005  # once one has stirred: the driver's own thread is about to hand over what came
_LATE: Final = 250_000  # ns by which what is due may be late before a rest is ended for it; less than EARLY
_OF_PERIOD: Final = 0.45  # of the period of a driver that delivers once per period: it is asked twice in each
_OF_REST: Final = 1 / 2000
EARLY: Final = 400_000  # ns before a beat at which the loop is woken for it (see `loop_wakeup`)
_LEFT: Final = 500_000  # ns after which the loop takes what it has left
_TURN: Final = 8  # messages of one input that are taken before the other inputs get their turn (bench/flood.py)
_SYSEX_IN_A_TURN: Final = 1  # of these, if there are as many messages as that
_WHEN: Final = itemgetter(0)  # `at`

# An input's queue
_MOST: Final = 8192  # messages: the whole set-up that a sequencer sends at once
_MOST_RELEASES: Final = 4 * _MOST
_EACH: Final = 125_000  # ns: 8,000 messages per second are eight full DIN cables, or ten fingers that bend and press

#: one message: when it was read (ns), from which input (index), and itself
Arrival = tuple[int, int, bytes]


class Backlog:
    """One input's messages on their way to the loop, in a bounded queue that the reader fills and the loop empties.

    Only a faulty device fills it: the loop takes a thousand messages in about ten milliseconds. When it is full,
    presses and other messages that cannot be late are dropped and counted, only the newest value of each controller,
    bend, pressure and program is kept, and releases are never dropped, nor is what tells that the flood is a loop.
    (Beyond a second limit, one of these is dropped if the same one waits already: it says nothing new.)
    """

    def __init__(self, source: int, most: int = _MOST, most_releases: int = _MOST_RELEASES, each: int = _EACH) -> None:
        """`most`: messages that may wait, and come at once; `each`: ns that a sane device takes for any more."""
        self._most, self._most_releases, self._each = most, most_releases, each
        self._ahead = most * each
        self.shed = 0  # messages that were dropped, or replaced by newer ones
        self._source = source
        self.queue: deque[Arrival] = deque()  # what can be taken, oldest first
        self.late: dict[object, Arrival] = {}  # what is kept of a flood until there is room, oldest first
        # ns: each message taken costs time, so that a flood leaves the loop to the other inputs
        self._paid_until = -self._ahead

    def put(self, at: int, messages: list[bytes]) -> None:  # reader thread
        """These have arrived."""
        self.put_stamped([(at, message) for message in messages])

    def put_stamped(self, events: list[tuple[int, bytes]]) -> None:  # reader thread
        """These have arrived, each at its time."""
        source, queue = self._source, self.queue
        if self.late or len(queue) + len(events) > self._most:
            for at, message in events:
                self._squeeze((at, source, message))
        else:
            for at, message in events:
                queue.append((at, source, message))

    def settle(self) -> None:  # reader thread
        """Once there is room again, queue what was kept of the flood."""
        if self.late and len(self.queue) < self._most // 2:
            self.queue.extend(self.late.values())
            self.late.clear()

    def take(self, now: int, most: int) -> list[Arrival]:  # loop only
        """The oldest messages: at most `most`, and no more than a sound device may have sent by now (ns)."""
        queue, paid = self.queue, self._paid_until
        if paid < now - self._ahead:
            paid = now - self._ahead
        count = len(queue)
        if count >= most:
            count = _before_much_sysex(queue, most)
        if now - paid < count * self._each:
            count = (now - paid) // self._each
        self._paid_until = paid + count * self._each
        return [queue.popleft() for _ in range(count)]

    def __len__(self) -> int:  # any thread
        return len(self.queue) + len(self.late)

    def _squeeze(self, arrival: Arrival) -> None:
        message = arrival[2]
        if is_release(message) or message.startswith(QUESTION):
            if len(self.queue) < self._most_releases:
                self.queue.append(arrival)
                return
            key: object = message
        else:
            key = slot(message)
        self.shed += key is None or key in self.late
        if key is not None:
            self.late.pop(key, None)
            self.late[key] = arrival


def _before_much_sysex(queue: deque[Arrival], most: int) -> int:
    """How many of a flood are one turn: a SysEx costs several times as much as a note."""
    heavy = 0
    for place in range(most):
        heavy += queue[place][2][0] == SYSEX
        if heavy > _SYSEX_IN_A_TURN:
            return place
    return most


class InputReader:
    """The loop makes it and takes from it; its own thread fills it."""

    def __init__(self, ports: Mapping[int, InputPort], clock: Callable[[], int] = time.monotonic_ns) -> None:
        self._clock = clock
        self._due: int | None = None
        self._again: int | None = None  # ns: when the loop takes what it left at its last turn
        self.oldest_wait = 0  # ns: for how long the first message of the last turn had waited, if it left some
        self._sleeps_until = 0  # ns
        self.beat: int | None = None  # likewise: when a clock or quarter frame of our own is due
        self._roused: int | None = None  # the beat for which the loop was woken
        self.lost: deque[tuple[int, str]] = deque()  # inputs that failed or lost messages, with the reason
        self._ports: dict[int, InputPort] = {}
        self._backlogs: dict[int, Backlog] = {}
        self._mended: dict[int, int] = {}  # repairs of ports that are gone
        self._least = 0.0  # seconds; polling faster gains nothing
        self._most = _IDLE  # seconds; an input that cannot be waited for is polled as often as that
        self._awaited: AwaitedInput | None = None
        self._news: DescriptorWait | None = None  # while the thread runs, where this system has it
        self._all_watched = False  # every input wakes it
        self._leaving: deque[tuple[int, InputPort]] = deque()
        self._stopping = threading.Event()
        self._polling: threading.Thread | None = None
        for source, port in ports.items():
            self.add(source, port)

    @property
    def due(self) -> int | None:
        """When the loop next has something to do (ns). It sets it, after `beat`; that may rouse the thread."""
        return self._due

    @due.setter
    def due(self, at: int | None) -> None:  # loop only
        again = self._again
        self._due = again if at is None or (again is not None and again < at) else at
        if self._sleeps_until and self._too_late(self._sleeps_until):
            self._end_rest()

    def start(self, wake: Callable[[], object]) -> None:  # loop only
        """Begin to poll. `wake` is called in the reader's thread and must be quick and safe there."""
        self._news = descriptor_wait()
        self._plan_rests()
        self._polling = threading.Thread(target=self._run, args=(wake,), name="bayleaf-reader", daemon=True)
        self._polling.start()

    def stop(self) -> None:  # loop only
        """End the thread and close the inputs. What has arrived can still be taken."""
        self._stopping.set()
        self._end_rest()
        if self._polling is not None:
            self._polling.join()
        news, self._news = self._news, None
        if news is not None:
            news.close()
        for port in (*self._ports.values(), *(port for _, port in self._leaving)):
            port.close()

    def add(self, source: int, port: InputPort) -> None:  # loop only
        """Poll this port, too. An input that was lost or removed may be added again."""
        backlog = self._backlogs.setdefault(source, Backlog(source))
        if isinstance(port, StampedInput):
            port.hand_to(backlog.put_stamped)
        self._ports[source] = port
        self._plan_rests()

    def remove(self, source: int) -> None:  # loop only
        """Stop polling this input. The thread closes it, as it may be reading it just now."""
        port = self._ports.pop(source, None)
        if port is not None:
            self._leaving.append((source, port))
        self._plan_rests()

    def _plan_rests(self) -> None:  # any thread
        """How long the thread may sleep at least and at most, and where."""
        self._end_rest()
        ports = [*self._ports.copy().values()]
        periods = [port.period if isinstance(port, PeriodicInput) else 0.0 for port in ports]
        awaited = [port for port in ports if isinstance(port, AwaitedInput)]
        self._least = min(_OF_PERIOD * min(periods, default=0.0), _IDLE)
        self._awaited = awaited[0] if awaited else None
        self._most = _AWAITED if awaited and len(awaited) == len(ports) else _IDLE
        self._all_watched = self._awaited is None and all(self._watched(port) for port in ports)

    def _watched(self, port: InputPort) -> bool:  # any thread
        """Whether what comes to this input ends a rest at its descriptors."""
        if self._news is None or not isinstance(port, WatchableInput) or not port.descriptors:
            return False
        try:
            self._news.watch(port.descriptors)
        except OSError as fault:
            faults.record(f"waiting for {port.name}, which is polled instead", fault)
            return False
        return True

    def _end_rest(self) -> None:  # any thread
        """Let the thread poll at once, if it rests where it can be roused."""
        place = self._awaited or self._news
        if place is not None:
            place.rouse()

    def take(self) -> list[Arrival]:  # loop only
        """The oldest messages that have arrived, by time; a flooding input gets only its share."""
        arrivals: list[Arrival] = []
        now = self._clock()
        speaking = left = 0
        for backlog in self._backlogs.values():
            if backlog.queue:
                arrivals += backlog.take(now, _TURN)
                speaking += 1
                left += len(backlog)
        if speaking > 1:
            arrivals.sort(key=_WHEN)
        self._again = now + _LEFT if left else None
        self.oldest_wait = now - arrivals[0][0] if left and arrivals else 0
        return arrivals

    def port(self, source: int) -> InputPort | None:  # any thread
        """The port of this input that is polled now; None if it was lost or removed."""
        return self._ports.get(source)

    def waiting(self, source: int) -> int:  # loop only
        """How many messages of this input have arrived and not been taken."""
        return len(self._backlogs[source])

    def repairs(self) -> dict[int, int]:  # any thread
        """How many malformed parts of the byte stream were repaired or dropped, by input."""
        found = dict(self._mended)
        for source, port in list(self._ports.items()):
            found[source] = found.get(source, 0) + port.stream.repairs
        return found

    def shed(self, source: int) -> int:  # any thread
        """How many messages of an input were dropped because it sent too many."""
        backlog = self._backlogs.get(source)
        return backlog.shed if backlog is not None else 0

    def begun(self, source: int) -> bool:  # any thread
        """Whether a SysEx has begun to arrive there and not ended."""
        port = self._ports.get(source)
        return port is not None and port.stream.open

    def _run(self, wake: Callable[[], object]) -> None:  # reader thread
        heard_at = 0
        stirred = False
        while not self._stopping.is_set():
            now = time.monotonic_ns()
            due = self._due_at()
            if stirred:
                heard_at, pause = now, _FOLLOWS
            else:
                pause = self._pause((now - heard_at) / 1e9)
            polled = self._poll(now)
            if polled or self._settle():
                heard_at = now
                if self._most == _IDLE:  # otherwise a message wakes us, and the loop says when it has left some
                    pause = max(_HEARD, self._least) if polled else min(pause, _HEARD)
                self._rouse(now, wake)
            elif due is not None and due <= now:
                self._rouse(now, wake)
            due = self._due_at()
            if due is not None:
                ahead = (due - time.monotonic_ns()) / 1e9
                pause = min(pause, ahead) if ahead > 0 else _PLAYING
            stirred = self._rest(pause)

    def _pause(self, quiet: float) -> float:  # reader thread
        """How long the thread may sleep (s) if nothing has come for so long (s)."""
        if self._most == _AWAITED:
            return _AWAITED
        if self._all_watched and quiet > _QUIET and self.beat is None:  # a clock was up to 26 ms late after such rests
            return _WATCHED
        return min(max(_PLAYING, self._least, quiet * _OF_REST), _IDLE)

    def _rest(self, pause: float) -> bool:  # reader thread
        """Sleep this long (s), or until an input that can be waited for has something.

        Whether its driver is about to hand over what came.
        """
        awaited, news = self._awaited, self._news
        if awaited is None and (news is None or pause <= _IDLE):
            time.sleep(pause)
            return False
        stirred = False
        now = time.monotonic_ns()
        self._sleeps_until = now + int(pause * 1e9)  # from now on the loop rouses us if it plans for earlier
        if not self._too_late(self._sleeps_until, now):
            if awaited is not None:
                awaited.wait(pause)
            elif news is not None:
                stirred = news.wait(pause)
        self._sleeps_until = 0
        return stirred

    def _too_late(self, until: int, since: int = 0) -> bool:  # any thread
        """Whether a rest until then (ns) misses what has become due after `since`."""
        due = self._due_at()
        return due is not None and since < due < until - _LATE

    def _rouse(self, now: int, wake: Callable[[], object]) -> None:  # reader thread
        beat = self.beat
        if beat is not None and beat - EARLY <= now:
            self._roused = beat  # the loop stays awake until it is due
        wake()

    def _due_at(self) -> int | None:  # any thread
        """When the loop needs its next turn, whatever comes in (ns)."""
        due, beat = self._due, self.beat
        if beat is None or beat == self._roused:
            return due
        return beat - EARLY if due is None else min(due, beat - EARLY)

    def _poll(self, now: int) -> bool:  # reader thread
        heard = False
        while self._leaving:
            self._close(*self._leaving.popleft())
        for source, port in list(self._ports.items()):
            try:
                messages = port.poll()
            except MessagesLost as fault:
                self._note_loss(source, port, str(fault))
                heard = True
                continue
            except PortError as fault:
                self._lose(source, port, str(fault))
                heard = True
                continue
            except Exception as fault:  # a fault of our own costs this input, not the others
                self._lose(source, port, faults.record(f"reading {port.name}", fault))
                heard = True
                continue
            if messages:
                backlog = self._backlogs[source]
                heard |= len(backlog.queue) < _TURN  # a flood is no reason to look at the others less often
                backlog.put(now, messages)
        return heard

    def _settle(self) -> bool:  # reader thread
        """Whether anything still waits for the loop."""
        waiting = [backlog for backlog in list(self._backlogs.values()) if backlog.queue or backlog.late]
        for backlog in waiting:
            backlog.settle()
        return bool(waiting)

    def _note_loss(self, source: int, port: InputPort, reason: str) -> None:  # reader thread
        noted = any(each == source for each, _ in self.lost.copy())  # while it floods, the loop takes nothing else
        if self._ports.get(source) is port and not noted:
            self.lost.append((source, reason))

    def _lose(self, source: int, port: InputPort, reason: str) -> None:  # reader thread
        if self._ports.get(source) is port:
            del self._ports[source]
            self._plan_rests()
            self.lost.append((source, reason))
            self._close(source, port)

    def _close(self, source: int, port: InputPort) -> None:  # reader thread
        self._mended[source] = self._mended.get(source, 0) + port.stream.repairs
        with contextlib.suppress(Exception):  # it is gone in any case
            port.close()
