"""The thread that polls every input. (Our own design; no outside source.)"""

import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from engine.fault_log import faults
from engine.live.reader import EARLY, InputReader
from engine.ports.memory import MemoryInput
from engine.ports.port import InputPort, MessagesLost
from tests.support.waiting import until


class Faulty(MemoryInput):
    """An input whose poll breaks the port contract."""

    def poll(self) -> list[bytes]:
        raise ZeroDivisionError("a mistake")


class Overrun(MemoryInput):
    """An input whose driver dropped messages, two times."""

    times = 2

    def poll(self) -> list[bytes]:
        if self.times:
            self.times -= 1
            raise MessagesLost("some may be lost")
        return super().poll()


class Pokes:
    """A wake-up that can be waited for; it counts how often it was asked for."""

    def __init__(self) -> None:
        self.poked = threading.Event()
        self.count = 0

    def __call__(self) -> None:
        self.count += 1
        self.poked.set()

    def wait(self) -> None:
        assert self.poked.wait(30)
        self.poked.clear()


@pytest.fixture
def started() -> Iterator[Callable[..., Any]]:
    """Starts readers, and stops them at the end of the test."""
    readers: list[InputReader] = []

    def start(ports: dict[int, InputPort]) -> tuple[InputReader, Pokes]:
        reader, pokes = InputReader(ports), Pokes()
        readers.append(reader)
        reader.start(pokes)
        return reader, pokes

    yield start
    for reader in readers:
        reader.stop()


def taken(reader: InputReader, pokes: Pokes, count: int) -> list[tuple[int, int, bytes]]:
    """Take this many arrivals, waiting for the wake-ups that announce them."""
    arrivals: list[tuple[int, int, bytes]] = []
    while len(arrivals) < count:
        pokes.wait()
        arrivals += reader.take()
    return arrivals


def test_messages_arrive_in_order_with_their_time(started: Callable[..., Any]) -> None:
    """All messages of an input come out once, in their order, stamped with the monotonic clock."""
    keys = MemoryInput("keys")
    reader, pokes = started({4: keys})
    before = time.monotonic_ns()
    for value in range(500):
        keys.push(bytes((0xB0, value >> 7, value & 0x7F)))
    arrivals = taken(reader, pokes, 500)
    assert [(source, message[1] << 7 | message[2]) for _, source, message in arrivals] == [
        (4, value) for value in range(500)
    ]
    stamps = [at for at, _, _ in arrivals]
    assert stamps == sorted(stamps)
    assert before <= stamps[0] <= stamps[-1] <= time.monotonic_ns()


def test_a_pulled_cable_is_reported_and_the_other_inputs_go_on(started: Callable[..., Any]) -> None:
    """An input that fails is reported once, after its last messages; the others are still polled."""
    keys, pedals = MemoryInput("keys"), MemoryInput("pedals")
    reader, pokes = started({0: keys, 1: pedals})
    keys.push(b"\x90\x3c\x40")
    assert [message for _, _, message in taken(reader, pokes, 1)] == [b"\x90\x3c\x40"]
    keys.unplug()
    while not reader.lost:
        pokes.wait()
    assert list(reader.lost) == [(0, '"keys" was unplugged')]
    pedals.push(b"\xc0\x05")
    assert [source for _, source, _ in taken(reader, pokes, 1)] == [1]
    assert list(reader.lost) == [(0, '"keys" was unplugged')]


def test_an_input_that_lost_messages_is_reported_and_goes_on(started: Callable[..., Any]) -> None:
    """It is reported once for as long as the loop has not taken the news."""
    keys = Overrun("keys")
    reader, pokes = started({0: keys})
    keys.push(b"\x90\x3c\x40")
    assert [message for _, _, message in taken(reader, pokes, 1)] == [b"\x90\x3c\x40"]
    assert list(reader.lost) == [(0, "some may be lost")]
    assert reader.port(0) is keys


def test_a_fault_of_our_own_costs_one_input(started: Callable[..., Any]) -> None:
    """If polling an input raises an unexpected error, that input is reported as lost and the thread keeps running."""
    keys = MemoryInput("keys")
    reader, pokes = started({0: Faulty("bad"), 1: keys})
    keys.push(b"\x90\x3c\x40")
    assert [source for _, source, _ in taken(reader, pokes, 1)] == [1]
    assert list(reader.lost) == [(0, "a fault of Bayleaf itself: ZeroDivisionError('a mistake')")]


def test_the_loop_is_woken_when_something_is_due(started: Callable[..., Any]) -> None:
    """Without any message, the loop is woken once the time it asked for has come."""
    reader, pokes = started({})
    reader.due = time.monotonic_ns() + 2_000_000
    pokes.wait()
    assert time.monotonic_ns() >= reader.due


def test_the_loop_is_woken_a_little_before_a_beat_and_once(started: Callable[..., Any]) -> None:
    """For a beat of our own clock the loop is woken once, just before the beat is due, so that it is awake in time."""
    reader, pokes = started({})
    beat = time.monotonic_ns() + 20_000_000
    reader.beat = beat
    pokes.wait()
    assert time.monotonic_ns() >= beat - EARLY
    while time.monotonic_ns() < beat + 5_000_000:
        time.sleep(0.001)  # the loop may not be woken in this time
    assert not pokes.poked.is_set()
    reader.beat = time.monotonic_ns()
    pokes.wait()


def test_repairs_are_those_of_the_inputs(started: Callable[..., Any]) -> None:
    """What an input's parser had to repair is counted under the input's index."""
    keys = MemoryInput("keys")
    reader, _ = started({3: keys})
    keys.push(b"\x3c\x40")
    assert reader.repairs() == {3: 1}


def test_what_had_arrived_can_be_taken_after_the_end() -> None:
    """stop ends the thread and closes the inputs; arrivals can still be taken, and a second stop does no harm."""
    keys, pokes = MemoryInput("keys"), Pokes()
    reader = InputReader({0: keys})
    reader.start(pokes)
    keys.push(b"\x90\x3c\x40")
    pokes.wait()
    reader.stop()
    reader.stop()
    assert [message for _, _, message in reader.take()] == [b"\x90\x3c\x40"]
    assert reader.take() == []


def test_a_reader_that_never_started_can_be_stopped() -> None:
    """An engine that fails at its start still closes its inputs."""
    InputReader({0: MemoryInput("keys")}).stop()


class Stamped(MemoryInput):
    """An input whose messages carry their own time."""

    def hand_to(self, take: Callable[..., Any]) -> None:
        self.take = take

    def poll(self) -> list[Any]:
        self.take([(at, message) for at, message in enumerate(super().poll())])
        return []


class Awaited(MemoryInput):
    """An input that can be waited for; it notes for how long the thread was ready to wait, and when it was roused."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.waits: list[float] = []
        self.roused = 0
        self._news = threading.Event()

    def push(self, data: bytes) -> None:
        super().push(data)
        self._news.set()

    def wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self._news.wait(seconds)
        self._news.clear()

    def rouse(self) -> None:
        self.roused += 1
        self._news.set()


def test_inputs_that_can_be_waited_for_are_not_polled(started: Callable[..., Any]) -> None:
    """The thread rests for a quarter of a second at once, and each message ends the rest; it keeps polling if
    there is another kind of input beside them."""
    keys = Awaited("keys")
    reader, pokes = started({0: keys})
    until("a long rest", lambda: 0.25 in keys.waits)
    keys.push(b"\x90\x3c\x40")
    assert len(taken(reader, pokes, 1)) == 1
    reader.add(1, MemoryInput("pads"))
    until("the end of the last long rest", lambda: keys.waits[-1] < 0.25)
    before = len(keys.waits)
    until("more rests", lambda: len(keys.waits) > before + 20)
    assert max(keys.waits[before:]) <= 0.002
    reader.remove(1)
    until("a long rest again", lambda: keys.waits[-1] == 0.25)


def test_what_an_awaited_input_sends_at_once_is_one_look_and_one_turn(started: Callable[..., Any]) -> None:
    """After a batch the thread rests at once for as long as before it, and asks for no second turn of the loop."""
    keys = Awaited("keys")
    reader, pokes = started({0: keys})
    until("a long rest", lambda: 0.25 in keys.waits)
    keys.push(b"\x90\x3c\x40\x80\x3c\x40")
    assert len(taken(reader, pokes, 2)) == 2
    reader.due = None
    looked = len(keys.waits)
    until("the end of the next rest", lambda: len(keys.waits) > looked)
    assert set(keys.waits) == {0.25}
    assert pokes.count == 1


def test_what_the_loop_leaves_of_an_awaited_input_it_takes_soon(started: Callable[..., Any]) -> None:
    """More messages than one turn takes are due again within a millisecond, with no new message to wake the thread."""
    keys = Awaited("keys")
    reader, pokes = started({0: keys})
    until("a long rest", lambda: 0.25 in keys.waits)
    keys.push(b"\x90\x3c\x40" * 20)
    pokes.wait()
    assert len(reader.take()) < 20
    before = time.monotonic_ns()
    reader.due = before + 60_000_000_000
    assert reader.due is not None
    assert reader.due < before + 1_000_000
    pokes.wait()
    while reader.waiting(0):
        reader.take()
    reader.due = None
    assert reader.due is None


def test_a_long_rest_ends_for_what_becomes_due_meanwhile(started: Callable[..., Any]) -> None:
    """What the loop plans while the thread rests is due on time; what is later than the rest does not disturb it."""
    keys = Awaited("keys")
    reader, pokes = started({0: keys})
    until("a long rest", lambda: 0.25 in keys.waits)
    before = keys.roused
    reader.due = time.monotonic_ns() + 60_000_000_000
    assert keys.roused == before

    def planned() -> bool:  # the thread may be between two rests just then
        reader.due = time.monotonic_ns() + 2_000_000
        return keys.roused > before

    until("the end of a rest", planned)
    pokes.wait()


class Counted(MemoryInput):
    """An input that counts how often it was polled."""

    polls = 0

    def poll(self) -> list[bytes]:
        self.polls += 1
        return super().poll()


class Polled(Counted):
    """One that cannot be watched."""

    descriptors = ()


class Unwatchable(Counted):
    """One whose descriptor the system refuses to watch, since it is closed."""

    descriptors = (1 << 20,)


def polls_in(seconds: float, keys: Counted) -> int:
    """How often the reader looks at an input in this time, at most."""
    before = keys.polls
    time.sleep(seconds)
    return keys.polls - before


def test_watched_inputs_are_hardly_polled_while_nobody_plays(started: Callable[..., Any]) -> None:
    """A tenth of a second after the last message the thread sleeps twenty times a second, and a message ends that; so
    does what the loop plans."""
    keys, pads = Counted("keys"), Counted("pads")
    reader, pokes = started({0: keys, 1: pads})
    until("a rest", lambda: polls_in(0.2, keys) <= 5)
    keys.push(b"\x90\x3c\x40")
    assert len(taken(reader, pokes, 1)) == 1
    until("another rest", lambda: polls_in(0.2, keys) <= 5)
    pokes.poked.clear()
    reader.due = time.monotonic_ns() + 2_000_000
    pokes.wait()


@pytest.mark.parametrize("kind", [Polled, Unwatchable])
def test_one_that_cannot_be_watched_keeps_all_polled(started: Callable[..., Any], kind: type[Counted]) -> None:
    """A message of its could not end a rest. What should be watched and cannot be is in the log. Once it is gone the
    others rest."""
    keys, noted = Counted("keys"), faults.count
    reader, _ = started({0: keys, 1: kind("pads")})
    time.sleep(0.2)  # longer than it takes to come to rest
    until("polls all the time", lambda: polls_in(0.2, keys) > 20)
    assert faults.count - noted == (kind is Unwatchable)
    reader.remove(1)
    until("a rest", lambda: polls_in(0.2, keys) <= 5)


def test_messages_that_bear_their_time_keep_it(started: Callable[..., Any]) -> None:
    """An input of another machine says when its messages arrived; they keep that time, and their order."""
    keys = Stamped("keys")
    reader, pokes = started({0: keys})
    keys.push(bytes.fromhex("90 3C 64 80 3C 40"))
    found = taken(reader, pokes, 2)
    assert [(at, message.hex()) for at, _, message in found] == [(0, "903c64"), (1, "803c40")]


def test_a_flood_does_not_make_the_rests_longer() -> None:
    """After a poll that brought something the reader rests longer, so that the loop can route it; what only joins a
    backlog does not count, or a flood at one input would make the notes of all others late."""
    flood, keys = MemoryInput("pads"), MemoryInput("keys")
    reader = InputReader({0: flood, 1: keys})
    clock = bytes((0xF8,))
    flood.push(clock * 10)
    assert reader._poll(1)
    flood.push(clock * 10)
    assert not reader._poll(2)
    flood.push(clock)
    keys.push(bytes((0x90, 60, 100)))
    assert reader._poll(3)
    taken = []
    while found := reader.take():
        taken += found
    assert len(taken) == 22
