"""Following and generating beat clock, in detail. (MIDI 1.0 Detailed Specification 4.2.1, p. 27-32.)"""

import math
import random
from collections.abc import Iterable, Iterator
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.speed import DIN
from engine.core.timing.clock import CLOCK, CONTINUE, PER_BEAT, START, STOP, ClockFollower, ClockGenerator, period
from tests.support.check_values import CheckValue, check_value, check_values

MS = 1_000_000
SECOND = 1000 * MS
TWO_BEATS = 2 * PER_BEAT


def clocks(bpm: float, count: int, jitter: float = 0, seed: int = 1, begin: float = 0) -> list[int]:
    """Times of this many clocks, each displaced by a Gaussian error (ms)."""
    chance = random.Random(seed)
    times = [begin + number * period(bpm) + chance.gauss(0, jitter) * MS for number in range(count)]
    return sorted(round(time) for time in times)


def following(times: Iterable[int], follower: ClockFollower | None = None) -> ClockFollower:
    follower = follower or ClockFollower()
    for time in times:
        follower.hear(time, CLOCK)
    return follower


def tempo(times: list[int]) -> float:
    found = following(times).bpm(times[-1])
    assert found is not None
    return found


def hear(follower: ClockFollower, *messages: str, now: int = 0) -> int:
    """Clocks 20 ms apart, every other message just before the clock that follows it."""
    for message in messages:
        now += 20 * MS * (message == "F8")
        follower.hear(now, bytes.fromhex(message))
    return now


def taken(generator: ClockGenerator, end: int) -> Iterator[tuple[int, bytes]]:
    """Everything due up to a time, taken when it is due."""
    while generator.due is not None and generator.due <= end:
        now = generator.due
        for message in generator.send(now):
            yield now, message
        assert generator.due is None or generator.due > now


# What the standard says. Source of each figure: tests/reference


@pytest.mark.parametrize("entry", check_values("clock-ms-"), ids=lambda entry: entry.id)
def test_how_far_apart_clocks_are(entry: CheckValue) -> None:
    """Clocks, generated or followed, are as far apart as the reference says."""
    bpm, expected = entry.input["bpm"], entry.expected["ms"]
    assert period(bpm) / MS == pytest.approx(expected, abs=1e-6)
    generator = ClockGenerator(bpm)
    generator.start(0)
    times = [time for time, _ in taken(generator, 10 * SECOND)]
    assert (times[-1] - times[0]) / (len(times) - 1) / MS == pytest.approx(expected, abs=1e-5)
    assert tempo(times) == pytest.approx(bpm, abs=0.001)


def test_clocks_of_a_beat_and_of_a_second() -> None:
    """24 clocks per beat are 48 per second at 120 bpm, which take 1.536 percent of a DIN cable."""
    found = check_value("clock-120-per-second").expected
    assert check_value("clock-ppqn").expected == PER_BEAT
    assert SECOND / period(120) == pytest.approx(found["clocks_per_second"])
    assert 100 * found["clocks_per_second"] * DIN.cost(CLOCK) / SECOND == found["din_load_percent"]


@pytest.mark.parametrize("entry", check_values("spp-", given="spp"), ids=lambda entry: entry.id)
def test_song_position(entry: CheckValue) -> None:
    """A song position, sent or received, counts sixteenths of six clocks, low byte first."""
    position, expected = entry.input["spp"], entry.expected
    generator, follower = ClockGenerator(120), ClockFollower()
    (message,) = generator.locate(position)
    follower.hear(0, message)
    assert generator.position == follower.position == expected["clocks"]
    if "bytes" in expected:
        assert message.hex(" ").upper() == expected["bytes"]


def test_a_bar_as_song_position() -> None:
    """Bar 17 of four beats is song position 256."""
    found = check_value("spp-bar-4-4")
    sixteenths = (found.input["bar"] - 1) * found.input["beats_per_bar"] * 4
    assert sixteenths == found.expected["spp"]
    assert ClockGenerator(120).locate(sixteenths)[0].hex(" ").upper() == found.expected["bytes"]


def test_start_takes_effect_at_the_next_clock() -> None:
    """After start the position is 0; the first clock is where the song begins, the next is one step on (p. 30-31)."""
    follower, found = ClockFollower(), check_value("clock-start")
    now = hear(follower, *found.input)
    assert follower.position == found.expected["position_clocks_after_FA"]
    hear(follower, "F8", now=now)
    assert follower.position == 1


def test_continue_takes_effect_at_the_next_clock() -> None:
    """Continue goes on from the song position with the next clock (p. 27-30)."""
    follower, found = ClockFollower(), check_value("clock-continue")
    now = hear(follower, *found.input)
    assert follower.position == found.expected["position_clocks"]
    hear(follower, "F8", "F8", now=now)
    assert follower.position == found.expected["position_clocks"] + 2


def test_clocks_while_a_song_is_located() -> None:
    """Clocks that come while a song is being located count: the worked example of p. 28-29 resumes at clock 27."""
    follower, found = ClockFollower(), check_value("spp-catch-up")
    hear(follower, *found.input)
    # the first of three clocks is position 24 itself; clock 27 is the next to come
    assert follower.position + 1 == found.expected["clock"]


def test_stop_keeps_the_place() -> None:
    """Clocks received while stopped do not move the position (p. 31); the tempo is shown all the same (p. 30)."""
    follower, found = ClockFollower(), check_value("clock-stop")
    now = hear(follower, *found.input)
    assert follower.position + 1 == found.expected["clocks_counted_while_playing"]
    assert not follower.running
    assert (follower.bpm(now) == pytest.approx(125)) is check_value("clock-while-stopped").expected  # every 20 ms


def test_what_is_redundant_is_ignored() -> None:
    """A start while playing does not begin again, a stop while stopped does nothing (p. 32), sent or received."""
    follower, entry = ClockFollower(), check_value("clock-redundant")
    first, second = entry.input
    now = hear(follower, first, "F8", "F8")
    hear(follower, second, "FB", "F8", now=now)
    assert ("second ignored" if follower.position == 2 else "second obeyed") == entry.expected
    generator = ClockGenerator(120)
    assert generator.stop() == []
    assert generator.start(0) == [START]
    assert (generator.start(1), generator.go_on(2), generator.locate(5)) == ([], [], [])
    assert (generator.stop(), generator.stop()) == ([STOP], [])


def test_start_is_position_0_and_continue() -> None:
    """Continue at position 0 plays as start does (p. 28)."""
    one, other = ClockFollower(), ClockFollower()
    found = check_value("clock-start-equals")
    hear(one, *found.input, "F8", "F8", "F8")
    hear(other, *found.expected, "F8", "F8", "F8")
    assert (one.position, one.running) == (other.position, other.running) == (2, True)


def test_the_gap_after_start() -> None:
    """The first clock comes at least 1 ms after start or continue (p. 30); a follower does not need the gap."""
    gap = check_value("clock-start-gap").expected["min_gap_ms"] * MS
    generator = ClockGenerator(300)
    generator.start(5)
    assert generator.due == 5 + gap
    generator.stop()
    generator.go_on(7)
    assert generator.due == 7 + gap
    follower = ClockFollower()
    for message in (START, CLOCK):
        follower.hear(0, message)
    assert (follower.running, follower.position) == (True, 0)


def test_a_song_position_is_sent_only_while_stopped() -> None:
    """While the song plays, a song position moves neither our own clock nor a followed one (p. 29)."""
    generator, follower = ClockGenerator(120), ClockFollower()
    generator.start(0)
    assert generator.running is check_value("spp-only-stopped").input["playing"]
    assert (generator.locate(8) or "not sent") == check_value("spp-only-stopped").expected
    hear(follower, "FA", "F8", "F2 08 00")
    assert follower.position == 0


# Following


@pytest.mark.parametrize("bpm", [20, 61.7, 120, 174.5, 300])
@pytest.mark.parametrize("seed", range(5))
def test_the_tempo_is_steady(bpm: float, seed: int) -> None:
    """From two beats on, with 1 ms of Gaussian jitter, the tempo is as accurate as two beats of clocks allow.

    The slope of n clocks has a standard error of at best jitter * sqrt(12 / n^3) (least squares, any textbook): 0.06
    beats per minute at 120, hence 0.1 in nine moments of ten there, and at each moment up to 60 a minute.
    """
    times = clocks(bpm, 20 * PER_BEAT, jitter=1, seed=seed)
    error = bpm * MS * math.sqrt(12 / (TWO_BEATS + 1) ** 3) / period(bpm)
    follower = following(times[: TWO_BEATS + 1])
    off = []
    for time in times[TWO_BEATS + 1 :]:
        follower.hear(time, CLOCK)
        found = follower.bpm(time)
        assert found is not None
        off.append(abs(found - bpm))
    assert max(off) < 4.5 * error
    if bpm <= 60:
        assert max(off) < 0.1


@pytest.mark.parametrize("bpm", [20, 61.7, 120, 174.5, 300])
def test_the_tempo_of_a_good_clock(bpm: float) -> None:
    """With jitter of a tenth of a millisecond the tempo is accurate to 0.1 at each moment from two beats on."""
    times = clocks(bpm, 20 * PER_BEAT, jitter=0.1 if bpm > 200 else 0.2)
    follower = following(times[: TWO_BEATS + 1])
    for time in times[TWO_BEATS + 1 :]:
        follower.hear(time, CLOCK)
        assert follower.bpm(time) == pytest.approx(bpm, abs=0.13 if bpm > 200 else 0.1)


@pytest.mark.parametrize(
    ("before", "after"), [(120, 121), (120, 126), (100, 160), (90, 180), (180, 90), (300, 20), (20, 300)]
)
def test_a_change_of_tempo(before: float, after: float) -> None:
    """Two beats and a few clocks after a tempo change, even to half or double, the new tempo is shown to within 0.1."""
    times = clocks(before, 100)
    times += clocks(after, TWO_BEATS + 6, begin=times[-1] + period(after))
    assert tempo(times) == pytest.approx(after, abs=0.1)


@pytest.mark.parametrize("lost", [(60,), (60, 61), (60, 63), (50, 56, 62, 68)])
def test_lost_clocks(lost: tuple[int, ...]) -> None:
    """One missing clock, or two in a row, leaves the tempo unchanged at every moment."""
    times = [time for number, time in enumerate(clocks(120, 120, jitter=0.3)) if number not in lost]
    follower = ClockFollower()
    for number, time in enumerate(times):
        follower.hear(time, CLOCK)
        if number > TWO_BEATS:
            assert follower.bpm(time) == pytest.approx(120, abs=0.1)


@pytest.mark.parametrize("doubled", [(60,), (60, 61), (50, 60, 70, 80)])
def test_doubled_clocks(doubled: tuple[int, ...]) -> None:
    """A clock that comes twice leaves the tempo unchanged."""
    times = clocks(120, 120, jitter=0.3)
    times = sorted([*times, *(times[number] + MS for number in doubled)])
    follower = ClockFollower()
    for number, time in enumerate(times):
        follower.hear(time, CLOCK)
        if number > TWO_BEATS:
            assert follower.bpm(time) == pytest.approx(120, abs=0.1)


def test_every_clock_doubled() -> None:
    """A cable that brings every clock twice (a loop, two merged paths) shows the tempo, not double the tempo."""
    times = sorted(time + more for time in clocks(120, 120) for more in (0, MS))
    assert tempo(times) == pytest.approx(120, abs=0.2)


def test_a_clock_that_stops() -> None:
    """Four periods after the last clock there is no tempo; when the clock comes back there is one again."""
    times = clocks(120, 100)
    follower = following(times)
    assert follower.silent_at == pytest.approx(times[-1] + 4 * period(120), abs=1000)
    assert follower.bpm(times[-1] + round(3.9 * period(120))) == pytest.approx(120, abs=0.01)
    assert follower.bpm(times[-1] + round(4.1 * period(120))) is None
    assert follower.last_bpm == pytest.approx(120, abs=0.01)
    again = clocks(90, TWO_BEATS + 6, begin=times[-1] + 10 * SECOND)
    following(again, follower)
    assert follower.bpm(again[-1]) == pytest.approx(90, abs=0.1)


@given(st.lists(st.integers(0, 200 * MS), max_size=200))
@settings(max_examples=100)
def test_any_times_are_followed(gaps: list[int]) -> None:
    """Clocks at any times, even at equal ones, give a tempo above zero or none, and never an error."""
    follower, now = ClockFollower(), 0
    for gap in gaps:
        now += gap
        follower.hear(now, CLOCK)
        found = follower.bpm(now)
        assert found is None or found > 0


# Generating


@pytest.mark.slow
@pytest.mark.parametrize("bpm", [20, 33.333, 97.3, 120, 174.52, 299.99])
def test_an_hour_without_drift(bpm: float) -> None:
    """After an hour exactly as many clocks have been sent as the tempo requires, each at its own time."""
    generator = ClockGenerator(bpm)
    generator.start(0)
    count, last = 0, 0
    for time, _ in taken(generator, 3600 * SECOND + MS):
        count, last = count + 1, time
    assert count == int(3600 * SECOND / period(bpm)) + 1
    assert last == pytest.approx(MS + (count - 1) * period(bpm), abs=1)
    assert generator.position == count - 1


def test_the_place_of_our_own_clock() -> None:
    """Each clock sent is one step. Continue goes on at the sixteenth that has begun (p. 27); start begins at 0."""
    generator = ClockGenerator(120)
    generator.start(0)
    assert len(list(taken(generator, SECOND))) == 48
    generator.stop()
    assert (generator.position, generator.due, generator.send(2 * SECOND)) == (47, None, [])
    located, *rest = generator.go_on(3 * SECOND)
    assert (located, rest) == (bytes((0xF2, 47 // 6, 0)), [CONTINUE])
    assert len(list(taken(generator, 4 * SECOND))) == 48
    heard = ClockFollower()
    for now, message in (
        (0, START),
        *((number, CLOCK) for number in range(48)),
        (50, STOP),
        (51, located),
        (51, CONTINUE),
    ):
        heard.hear(now, message)
    for number in range(48):
        heard.hear(100 + number, CLOCK)
    assert generator.position == heard.position
    generator.stop()
    generator.start(5 * SECOND)
    assert next(taken(generator, 6 * SECOND))
    assert generator.position == 0


@given(st.floats(20, 300), st.floats(20, 300), st.floats(0, 1))
@settings(max_examples=100)
def test_a_change_of_tempo_within_a_clock(before: float, after: float, part: float) -> None:
    """On a tempo change the current clock lasts the elapsed part at the old tempo and the rest at the new one."""
    generator = ClockGenerator(before)
    generator.start(0)
    last = [time for time, _ in taken(generator, SECOND)][-1]
    change = last + round(part * period(before))
    generator.set_bpm(change, after)
    due = generator.due
    assert due is not None
    assert due == pytest.approx(last + part * period(before) + (1 - part) * period(after), abs=20)
    gaps = [b - a for a, b in pairwise(time for time, _ in taken(generator, due + SECOND))]
    assert all(gap == pytest.approx(period(after), abs=2) for gap in gaps)


def test_a_change_of_tempo_before_the_first_clock() -> None:
    """A tempo set between start and the first clock holds from that clock on; one set while stopped, from start."""
    generator = ClockGenerator(120)
    generator.set_bpm(0, 60)
    generator.start(0)
    generator.set_bpm(10, 240)
    first, second = (time for time, _ in list(taken(generator, SECOND))[:2])
    assert (first, second - first) == (MS, round(period(240)))


@pytest.mark.parametrize(("apart", "expected"), [(500, 120), (1000, 60), (10, 300), (2900, 20.69)])
def test_tapping(apart: int, expected: float) -> None:
    """Two or more taps make a tempo, kept between 20 and 300."""
    generator = ClockGenerator(100)
    generator.tap(0)
    assert generator.bpm == 100
    for number in range(1, 8):
        generator.tap(number * apart * MS)
        assert generator.bpm == pytest.approx(expected, abs=0.01)


def test_tapping_again() -> None:
    """After three seconds tapping starts over, and only the last five taps count."""
    generator = ClockGenerator(100)
    for time in (0, 500, 4000):
        generator.tap(time * MS)
    assert generator.bpm == pytest.approx(120)
    for number in range(1, 6):
        generator.tap((4000 + number * 1000) * MS)
    assert generator.bpm == pytest.approx(60)


def test_two_taps_at_one_time_are_one() -> None:
    """Two switches that tap at the same time, or a knob turned by two steps, are one tap and not a tempo."""
    generator = ClockGenerator(100)
    for time in (0, 0, 500, 500):
        generator.tap(time * MS)
    assert generator.bpm == pytest.approx(120)


@given(stall=st.integers(0, 24), bpm=st.sampled_from([20.0, 60.0, 120.0, 300.0]), part=st.floats(0.01, 0.99))
def test_a_short_stall_loses_no_clock(stall: int, bpm: float, part: float) -> None:
    """Clocks missed in a stall of up to a beat follow at twice the tempo at most, and then the grid is met again."""
    generator, length = ClockGenerator(bpm), period(bpm)
    generator.start(0)
    assert generator.due is not None
    first = generator.due
    times = [at for at, _ in taken(generator, first + round(3 * length))]
    late = first + round((4 + stall + part) * length)  # nothing was sent since, as the program stood still
    while late < first + 80 * length:
        assert generator.send(late) == [CLOCK]
        times.append(late)
        late = generator.due
    assert generator.skipped == 0
    assert all(after - before >= length / 2 - 1 for before, after in pairwise(times[4 : 4 + stall]))
    on_grid = [first + round(number * length) for number in range(len(times))]
    assert times[60:] == on_grid[60:]  # the number of each clock is its place: none is missing
    assert generator.position == len(times) - 1


@given(
    stall=st.integers(1, 23), before=st.sampled_from([60.0, 120.0, 300.0]), after=st.sampled_from([59.0, 120.5, 200.0])
)
def test_a_new_tempo_after_a_short_stall_loses_no_clock(stall: int, before: float, after: float) -> None:
    """Clocks that are still owed when the tempo changes follow, too: every one that belongs in the time
    so far has been sent when the grid is met again."""
    generator, length = ClockGenerator(before), period(before)
    generator.start(0)
    assert generator.due is not None
    first = generator.due
    list(taken(generator, first + round(3 * length)))
    now = first + round((3 + stall + 0.5) * length)
    assert generator.send(now) == [CLOCK]
    generator.set_bpm(now, after)
    times = [now]
    while len(times) < 80:
        assert generator.due is not None
        times.append(generator.due)
        assert generator.send(times[-1]) == [CLOCK]
    belongs = 3 + stall + 0.5 + (times[-1] - now) / period(after)
    assert generator.position == pytest.approx(belongs, abs=1e-6)
    assert all(late - early >= min(period(before), period(after)) / 2 - 1 for early, late in pairwise(times[:stall]))


def test_a_long_stall() -> None:
    """Clocks missed in a longer stall are skipped and counted: one is sent, the next comes at its own time, and the
    position counts all."""
    generator = ClockGenerator(120)
    generator.start(0)
    sent = len(list(taken(generator, SECOND))) - 1
    late = SECOND + 10 * SECOND
    assert generator.send(late) == [CLOCK]
    assert generator.send(late) == []
    times = [at for at, _ in taken(generator, late + SECOND)]
    numbers = [round((at - MS) / period(120)) for at in times]
    assert times == [MS + round(number * period(120)) for number in numbers]
    assert generator.position == numbers[-1]
    assert generator.skipped == generator.position + 1 - (sent + 1 + 1 + len(times))
