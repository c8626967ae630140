"""Clocks of other machines: their offset and the round trip. (Symmetric exchange: RFC 5905 section 8.)"""

import struct

from hypothesis import given
from hypothesis import strategies as st

from engine.cluster.link.clock_offset import ClockOffsets
from engine.cluster.link.keys import NetworkKeys
from tests.support.fake_link import FakeNet

NAMES = NetworkKeys("test")


class World:
    """True time, and two machines' clocks on it; a question takes its time there and back."""

    def __init__(self, ahead: int) -> None:
        self.true = 5_000_000_000
        self.ahead = ahead
        self.net = FakeNet()
        self.there, self.back = 0, 0
        self.near = ClockOffsets(self.net.link("desk"), NAMES, "desk", ["desk", "box"], lambda: self.true)
        self.far = ClockOffsets(self.net.link("box"), NAMES, "box", ["desk"], self._answers_at)

    def _answers_at(self) -> int:
        """The other machine's clock when the question has arrived; the answer then travels back."""
        self.true += self.there
        answer = self.true + self.ahead
        self.true += self.back
        return answer

    def ask(self, there: int, back: int) -> bool:
        """Ask once; the question takes `there` ns and the answer `back` ns."""
        self.there, self.back = there, back
        return self.near.ask("box")


@given(
    ahead=st.integers(-4_000_000_000, 10**15),
    ways=st.lists(st.tuples(st.integers(0, 10**9), st.integers(0, 10**9)), min_size=1, max_size=10),
)
def test_the_offset_errs_by_half_the_quickest_round_trip(ahead: int, ways: list[tuple[int, int]]) -> None:
    """After a few questions, a time stamp of the other machine is known to half the shortest round trip (RFC 5905)."""
    world = World(ahead)
    for there, back in ways:
        assert world.ask(there, back)
    least = min(there + back for there, back in ways)
    true = world.true - 1_000_000_000
    assert abs(world.near.here("box", true + ahead, world.true) - true) <= least // 2 + 1


@given(there=st.integers(0, 10**8), back=st.integers(0, 10**8))
def test_nothing_happened_later_than_now(there: int, back: int) -> None:
    """A time stamp is never later than its arrival, however long the ways there and back were."""
    world = World(7_000)
    world.ask(there, back)
    assert world.near.here("box", world.true + 7_000, world.true) <= world.true


def test_before_the_first_answer_it_is_now() -> None:
    """While a machine's clock is unknown, its messages count as happening when they arrive."""
    world = World(0)
    assert world.near.here("box", 12, 99) == 99
    assert world.near.round_trip("box") is None


def test_a_machine_that_started_again_has_a_new_clock() -> None:
    """When the other machine restarts, the old offset is forgotten, however quick its answers were."""
    world = World(0)
    world.ask(0, 0)
    world.ahead = -3_000_000_000
    world.net.links[1].close()
    world.far = ClockOffsets(world.net.link("box"), NAMES, "box", ["desk"], world._answers_at)
    world.ask(400, 400)
    assert world.near.here("box", 1_000_000_000, world.true) == 4_000_000_000


def test_a_machine_that_is_silent_may_come_back_with_another_clock() -> None:
    """One lost answer keeps the offset; after a second one, messages count as happening when they arrive."""
    world = World(-3_000_000_000)
    world.ask(0, 0)
    world.net.links[1].close()
    world.near.look("box")
    assert world.near.here("box", 1_000_000_000, world.true) == 4_000_000_000
    world.near.look("box")
    assert world.near.here("box", 12, world.true) == world.true


def test_the_round_trip_is_reported() -> None:
    """The last, least, median and greatest round trips are given, in nanoseconds."""
    world = World(0)
    for way in (5, 1, 3):
        world.ask(way, way)
    trip = world.near.round_trip("box")
    assert trip is not None
    assert (trip.last, trip.least, trip.median, trip.most) == (6, 2, 6, 10)


def test_what_is_no_answer_is_none() -> None:
    """An answer of the wrong length, or none at all, changes nothing."""
    net = FakeNet()
    timing = ClockOffsets(net.link("desk"), NAMES, "desk", ["box"])
    assert not timing.ask("box")
    net.link("box").answer(NAMES.command("box", "ping"), lambda _: struct.pack(">Q", 7))
    assert not timing.ask("box")
    assert timing.round_trip("box") is None
