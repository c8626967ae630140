"""`thin`: wheels, faders and pressure send fewer values."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters.registry import Later
from tests.support.filter_bench import MS, heard, refusal, step_of

THIN = 'filter = "thin", milliseconds = 20'


@pytest.mark.parametrize("form", ["B0 01 {}", "D0 {}", "A0 3C {}", "E0 05 {}"])
def test_values_that_come_too_soon_wait_for_their_time(form):
    """Of one controller, pressure or bender a value passes when 20 ms are over since the last; the newest of those
    that come sooner is answered for that time, and the time is then counted from there."""
    step = step_of(THIN)
    came = [(0, "10"), (5, "11"), (19, "12"), (25, "13"), (39, "14"), (70, "15"), (90, "16")]
    went = [answer for at, value in came for answer in heard(step, form.format(value), now=at * MS)]
    times = ["", " at 20", " at 20", " at 40", " at 40", "", ""]
    assert went == [form.format(value) + at for (_, value), at in zip(came, times, strict=True)]


def test_channels_controllers_and_keys_are_counted_apart():
    """One controller's values do not hold back another's, nor those of another channel or key."""
    messages = ["B0 01 10", "B0 07 10", "B1 01 10", "A0 3C 10", "A0 3D 10", "D0 10", "D1 10", "E0 01 10", "E1 01 10"]
    assert heard(THIN, *messages) == messages


@pytest.mark.parametrize("rest", ["B0 01 00", "B0 01 7F", "B0 0A 40", "D0 00", "A0 3C 00"])
def test_ends_and_middle_always_pass(rest):
    """0, 64 and 127 pass however soon, so that what goes to rest is at rest (centre of pan: MIDI 1.0 Table III)."""
    step = step_of(THIN)
    assert heard(step, f"{rest[:-2]}22", rest) == [f"{rest[:-2]}22", rest]


def test_the_benders_ends_and_centre_always_pass():
    """Centre is 00 40, the lowest 00 00, the top any with 7F high (MIDI 1.0 p. 19)."""
    step = step_of(THIN)
    messages = ["E0 01 50", "E0 00 40", "E0 00 00", "E0 00 7F", "E0 7F 7F"]
    assert heard(step, *messages) == messages
    assert heard(step, "E0 01 40", "E0 05 00", "E0 00 41") == ["E0 01 40 at 20", "E0 05 00 at 20", "E0 00 41 at 20"]


@pytest.mark.parametrize("number", [0, 32, 6, 38, *range(64, 70), *range(96, 102), *range(120, 128)])
def test_switches_banks_data_entry_and_mode_messages_are_never_thinned(number):
    """Each of these is a command of its own (MIDI 1.0 Tables III and IV): all pass at any rate."""
    messages = [f"B0 {number:02X} {value:02X}" for value in (10, 11, 12)]
    assert heard(THIN, *messages) == messages


def _arrivals(steps):
    """(value, time) of one wheel behind the filter, as the core carries it out; the newest value counts."""
    step, now, waiting, arrived = step_of(THIN), 0, None, []
    for gap, value in steps:
        now += gap * MS
        if waiting and waiting[1] <= now:
            arrived.append(waiting)
            waiting = None
        for answer in step(bytes((0xB0, 1, value)), now):
            waiting = (answer.message[2], answer.at) if isinstance(answer, Later) else None
            if not waiting:
                arrived.append((answer[2], now))
    return arrived + ([waiting] if waiting else [])


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 127)), min_size=1, max_size=40))
def test_the_last_value_arrives_and_none_comes_too_soon(steps):
    """Every movement ends on its last value, 20 ms late at most; two values are 20 ms apart, but for 0, 64 and 127."""
    arrived = _arrivals(steps)
    assert arrived[-1][0] == steps[-1][1]
    assert arrived[-1][1] <= sum(gap for gap, _ in steps) * MS + 20 * MS
    for (_, before), (value, at) in pairwise(arrived):
        assert at - before >= 20 * MS or value in (0, 64, 127)


def test_notes_and_programs_are_not_thinned():
    """Presses, releases and program changes pass at any rate."""
    messages = ["90 3C 40", "90 3C 00", "90 3C 41", "80 3C 40", "C0 05", "C0 06"]
    assert heard(THIN, *messages) == messages


def test_what_is_allowed_is_said():
    """Milliseconds are a whole number from 1 to 1000."""
    assert "milliseconds from 1 to 1000" in refusal('filter = "thin", milliseconds = 0')
    assert "milliseconds from 1 to 1000" in refusal('filter = "thin", milliseconds = "20 ms"')
    assert refusal('filter = "thin"').startswith("milliseconds")
