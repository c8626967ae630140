"""The last guard before a driver's queue: plain arithmetic that is given the time."""

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.cable.scheduler import Cable
from engine.live.port_bank import speed_of
from engine.ports.driver_limits import ALSA_FLOW, JACK_RING, jack_flow
from engine.ports.port import DriverFlow
from engine.ports.send_budget import SendBudget

NOTE = b"\x90\x40\x40"
SECOND = 1_000_000_000


def test_takes_twice_what_may_be_ahead_and_no_more() -> None:
    """At one instant exactly twice the core's allowance fits; after it has drained, it fits again."""
    room = SendBudget(DriverFlow(ahead=35, per_second=1000, overhead=4))
    assert [room.take(0, NOTE) for _ in range(11)] == [True] * 10 + [False]
    assert room.take(7_000_000, NOTE)
    assert not room.take(7_000_000, NOTE)


def test_a_long_message_goes_when_nothing_is_ahead() -> None:
    """A message longer than the whole allowance waits until the driver is idle, and then goes."""
    room = SendBudget(DriverFlow(ahead=35, per_second=1000))
    long = b"\xf0" + bytes(98) + b"\xf7"
    assert room.take(0, NOTE)
    assert not room.take(0, long)
    assert room.take(SECOND, long)
    assert not room.take(SECOND, NOTE)
    assert room.take(SECOND, b"\xf8")  # the core lets a clock pass inside a SysEx


def test_a_server_that_stands_still_is_noticed() -> None:
    """However much time passes, no more goes in than the ring holds until the server's cycles continue."""
    cycle = [5]
    room = SendBudget(jack_flow(0.005), lambda: cycle[0])
    sent = sum(room.take(number * SECOND, NOTE) for number in range(5000))
    assert sent == JACK_RING // 7
    cycle[0] += 1
    assert not room.take(6000 * SECOND, NOTE)  # the ring may still be being emptied
    cycle[0] += 1
    assert room.take(6001 * SECOND, NOTE)


@given(
    st.lists(st.tuples(st.integers(0, 30_000_000), st.integers(1, 400)), max_size=60),
    st.sampled_from([0.00133, 0.0053, 0.0213, 0.0427]),
)
def test_what_the_core_hands_over_is_never_refused(plays: list[tuple[int, int]], period: float) -> None:
    """The core's cable keeps to the same allowance, so that the guard never refuses its messages."""
    flow = jack_flow(period)
    room, cable = SendBudget(flow), Cable(0, speed_of(flow))
    now = 0
    for pause, notes in plays:
        now += pause
        out: list[Delivery] = []
        for number in range(notes):
            cable.put(now, (bytes((0x90, number % 128, 64)),), out)
        assert all(room.take(now, message) for _, message, _ in out)


@given(st.sampled_from([16, 64, 256, 512, 1024, 2048]), st.sampled_from([44_100, 48_000, 96_000]))
def test_the_ring_never_fills_between_two_cycles(frames: int, rate: int) -> None:
    """What may be waiting and what one period adds stay below what the ring holds."""
    period = frames / rate
    flow = jack_flow(period)
    assert 2 * flow.ahead + flow.per_second * period < JACK_RING


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(1, 4000)), max_size=80))
def test_never_more_than_the_ring_holds_in_two_cycles(plays: list[tuple[int, int]]) -> None:
    """However seldom the server's cycle is read, what is taken in two cycles in a row fits the ring."""
    cycle = [0]
    taken = [0]
    room = SendBudget(DriverFlow(ahead=1 << 40, per_second=1_000_000_000, overhead=4), lambda: cycle[0])
    for passed, length in plays:
        cycle[0] += passed
        taken += [0] * passed
        message = b"\xf0" + bytes(length) + b"\xf7"
        if room.take(0, message):
            taken[-1] += len(message) + 4
        assert sum(taken[-2:]) <= JACK_RING


@given(st.lists(st.integers(1, 3), max_size=200))
def test_a_server_that_goes_on_is_never_refused_what_fits_one_cycle(passes: list[int]) -> None:
    """A quarter of the ring in each cycle always has room, whenever the cycle was last read."""
    cycle = [0]
    room = SendBudget(DriverFlow(ahead=1 << 40, per_second=1_000_000_000, overhead=4), lambda: cycle[0])
    for passed in passes:
        cycle[0] += passed
        assert all(room.take(0, NOTE) for _ in range(JACK_RING // 4 // 7))


@given(st.lists(st.integers(0, 900_000), min_size=2, max_size=20))
def test_a_send_that_comes_late_refuses_none_that_follow(delays: list[int]) -> None:
    """The core calculates with the time at which it began its answer; each send comes up to 0.9 ms later than that,
    one more than another, and none is refused for it."""
    flow = jack_flow(0.0053)
    room, cable = SendBudget(flow), Cable(0, speed_of(flow))
    dump = b"\xf0" + bytes(5000) + b"\xf7"
    now = 0
    for delay in delays:
        out: list[Delivery] = []
        cable.put(now, (dump,), out)
        while not out:
            assert cable.due is not None
            now = cable.due
            cable.flush(now, out)
        assert room.take(now + delay, dump)


@settings(max_examples=40)
@given(
    st.integers(1, 12),
    st.integers(1_000, 40_000),
    st.lists(st.tuples(st.integers(0, 30_000_000), st.integers(1, 2_200)), min_size=1, max_size=3),
    st.sampled_from([jack_flow(0.0053), jack_flow(0.0427), ALSA_FLOW]),
)
def test_panics_on_many_outputs_lose_nothing(
    outputs: int, cost: int, panics: list[tuple[int, int]], flow: DriverFlow
) -> None:
    """Each send takes `cost` ns, so the last of thousands comes long after the core's time, and none is refused."""
    rooms = [SendBudget(flow) for _ in range(outputs)]
    cables = [Cable(output, speed_of(flow)) for output in range(outputs)]
    now = 0

    def send(out: list[Delivery]) -> None:
        nonlocal now
        for output, message, _ in out:
            now += cost
            assert rooms[output].take(now, message)

    for pause, size in panics:
        out: list[Delivery] = []
        for cable in cables:
            cable.panic(now, [bytes((0x80 | each // 128 % 16, each % 128, 64)) for each in range(size)], out)
        send(out)
        end = now + pause
        while (due := min((cable.due for cable in cables if cable.due is not None), default=end)) < end:
            now, out = max(now, due), []
            for cable in cables:
                cable.flush(now, out)
            send(out)
        now = max(now, end)
