"""`thin`: wheels, faders and pressure send fewer values."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.routing.delayed_messages import DelayedMessages
from engine.core.routing.routed_message import TimedMessage
from filters.registry import Later
from tests.support.check_values import check_value
from tests.support.filter_bench import MS, heard, refusal, step_of

THIN = 'filter = "thin", milliseconds = 20'


@pytest.mark.parametrize("form", ["B0 01 {}", "D0 {}", "A0 3C {}", "E0 05 {}"])
def test_values_that_come_too_soon_wait_for_their_time(form: str) -> None:
    """For one controller, pressure or bender a value passes once 20 ms have passed since the last; of values that come
    sooner the newest is sent at that time, and the next 20 ms count from there."""
    step = step_of(THIN)
    came = [(0, "10"), (5, "11"), (19, "12"), (25, "13"), (39, "14"), (70, "15"), (90, "16")]
    went = [answer for at, value in came for answer in heard(step, form.format(value), now=at * MS)]
    times = ["", " at 20", " at 20", " at 40", " at 40", "", ""]
    assert went == [form.format(value) + at for (_, value), at in zip(came, times, strict=True)]


def test_channels_controllers_and_keys_are_counted_apart() -> None:
    """One controller's values do not hold back another's, nor those of another channel or key."""
    messages = ["B0 01 10", "B0 07 10", "B1 01 10", "A0 3C 10", "A0 3D 10", "D0 10", "D1 10", "E0 01 10", "E1 01 10"]
    assert heard(THIN, *messages) == messages


@pytest.mark.parametrize("rest", ["B0 01 00", "B0 01 7F", "B0 0A 40", "D0 00", "A0 3C 00"])
def test_ends_and_middle_always_pass(rest: str) -> None:
    """0, 64 and 127 pass however soon, so that a controller can come to rest (centre of pan: MIDI 1.0 Table III)."""
    step = step_of(THIN)
    assert heard(step, f"{rest[:-2]}22", rest) == [f"{rest[:-2]}22", rest]


def test_the_benders_ends_and_centre_always_pass() -> None:
    """The centre is 00 40, the lowest 00 00, the top any with 7F as high byte (MIDI 1.0 p. 19)."""
    step = step_of(THIN)
    messages = ["E0 01 50", "E0 00 40", "E0 00 00", "E0 00 7F", "E0 7F 7F"]
    assert heard(step, *messages) == messages
    assert heard(step, "E0 01 40", "E0 05 00", "E0 00 41") == ["E0 01 40 at 20", "E0 05 00 at 20", "E0 00 41 at 20"]


@pytest.mark.parametrize("number", check_value("cls-never-thin").expected)
def test_switches_banks_data_entry_and_mode_messages_are_never_thinned(number: int) -> None:
    """Each of these is a command in itself (MIDI 1.0 Tables III and IV): all pass at any rate."""
    messages = [f"B0 {number:02X} {value:02X}" for value in (10, 11, 12)]
    assert heard(THIN, *messages) == messages


def _arrivals(steps: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """(value, time) of one wheel after the filter, as the core carries it out; the newest value counts."""
    step, now = step_of(THIN), 0
    waiting: tuple[int, int] | None = None
    arrived: list[tuple[int, int]] = []
    for gap, value in steps:
        now += gap * MS
        if waiting and waiting[1] <= now:
            arrived.append(waiting)
            waiting = None
        for answer in step(bytes((0xB0, 1, value)), now):
            if isinstance(answer, Later):
                waiting = (answer.message[2], answer.at)
            else:
                waiting = None
                arrived.append((answer[2], now))
    return arrived + ([waiting] if waiting else [])


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 127)), min_size=1, max_size=40))
def test_the_last_value_arrives_and_none_comes_too_soon(steps: list[tuple[int, int]]) -> None:
    """Movements end on their last value, at most 20 ms late; values are at least 20 ms apart, except 0, 64 and 127."""
    arrived = _arrivals(steps)
    assert arrived[-1][0] == steps[-1][1]
    assert arrived[-1][1] <= sum(gap for gap, _ in steps) * MS + 20 * MS
    for (_, before), (value, at) in pairwise(arrived):
        assert at - before >= 20 * MS or value in (0, 64, 127)


class _Behind:
    """The messages that arrive after the filter, with the core keeping those for later; a receiver of the 14-bit
    controller 1."""

    def __init__(self) -> None:
        self.step = step_of(THIN)
        self.later = DelayedMessages()
        self.now = 0
        self.arrived: list[bytes] = []

    def play(self, gap_ms: int, message: bytes) -> None:
        self.wait(gap_ms * MS)
        for answer in self.step(message, self.now):
            if isinstance(answer, Later):
                self.later.add(0, TimedMessage(answer.at, answer.message, (0,), False))
            else:
                self.later.outdate(0, [(0, (answer,))])
                self.arrived.append(answer)

    def wait(self, length: int) -> None:
        self.now += length
        self.arrived += [due.message for due in self.later.take(self.now)]

    def positions(self) -> list[tuple[int, int]]:
        """MSB and LSB after each message; a new MSB sets the LSB to 0 (MIDI 1.0 p. 12)."""
        return _positions(self.arrived)


def _positions(messages: list[bytes]) -> list[tuple[int, int]]:
    found, msb = [], 0
    for message in messages:
        if message[:2] == bytes((0xB0, 1)):
            msb = message[2]
            found.append((msb, 0))
        elif message[:2] == bytes((0xB0, 33)):
            found.append((msb, message[2]))
    return found


_fine = st.tuples(st.sampled_from([1, 33]), st.integers(1, 126)).map(lambda it: bytes((0xB0, *it)))


@given(st.lists(st.tuples(st.integers(0, 30), _fine), max_size=60))
def test_the_two_bytes_of_a_value_stay_together(played: list[tuple[int, bytes]]) -> None:
    """An LSB never leaves before its MSB, and is left out only with it: every position that arrives was played, and the
    last one arrives (MIDI 1.0 p. 12)."""
    behind = _Behind()
    for gap, message in played:
        behind.play(gap, message)
    behind.wait(1000 * MS)
    true = _positions([message for _, message in played])
    assert set(behind.positions()) <= set(true)
    assert behind.positions()[-1:] == true[-1:]


def test_a_controller_from_33_to_63_without_an_msb_is_thinned() -> None:
    """Much gear has single controllers there (common practice, no source): they are thinned like any other."""
    step = step_of(THIN)
    assert heard(step, "B0 34 10", "B0 34 11") == ["B0 34 10", "B0 34 11 at 20"]
    assert heard(step, "B0 14 10", "B0 34 12", "B0 34 13") == ["B0 14 10", "B0 34 12", "B0 34 13"]


@pytest.mark.parametrize("number", [84, 88])
def test_what_belongs_to_the_next_note_arrives_before_it(number: int) -> None:
    """A velocity prefix (CA-031) or a portamento source (MIDI 1.0 Table III) keeps its place before its note, however
    soon it follows the one before."""
    played = [
        message
        for key in range(60, 68)
        for message in (bytes((0xB0, number, key)), bytes((0x90, key, 100)), bytes((0xB0, 1, key)))
    ]
    behind = _Behind()
    for message in played:
        behind.play(1, message)
    behind.wait(1000 * MS)
    assert [m for m in behind.arrived if m[:2] != bytes((0xB0, 1))] == [m for m in played if m[:2] != bytes((0xB0, 1))]


def test_notes_and_programs_are_not_thinned() -> None:
    """Presses, releases and program changes pass at any rate."""
    messages = ["90 3C 40", "90 3C 00", "90 3C 41", "80 3C 40", "C0 05", "C0 06"]
    assert heard(THIN, *messages) == messages


def test_what_is_allowed_is_said() -> None:
    """Milliseconds must be a whole number from 1 to 1000."""
    assert "milliseconds from 1 to 1000" in refusal('filter = "thin", milliseconds = 0')
    assert "milliseconds from 1 to 1000" in refusal('filter = "thin", milliseconds = "20 ms"')
    assert refusal('filter = "thin"').startswith("milliseconds")
