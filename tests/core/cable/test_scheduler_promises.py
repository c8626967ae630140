"""What one output's cable promises, whatever is played into it (hypothesis), and the standard's figures."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import BurstUnit, Delivery
from engine.core.cable.program_burst import duration, select, size
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN, DIN_RUNNING, CableSpeed
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.pit_engine import MS

BYTE = 320_000  # ns (din-byte-us: MIDI 1.0 p. 1)
SPEEDS = st.sampled_from([DIN, DIN_RUNNING])


class Event(NamedTuple):
    """What happens after this many microseconds: a unit of messages, or the steps of a recall."""

    gap: int
    unit: tuple[bytes, ...] = ()
    steps: tuple[BurstUnit, ...] | None = None


class CableInTime:
    """A cable in virtual time, and everything it handed over."""

    def __init__(self, speed: CableSpeed | None) -> None:
        self.cable = Cable(0, speed)
        self.now = 0
        self.handed: list[tuple[int, Delivery]] = []

    def perform(self, events: Sequence[Event]) -> "CableInTime":
        for event in events:
            self.until(self.now + event.gap * 1000)
            out: list[Delivery] = []
            if event.steps is None:
                self.cable.put(self.now, event.unit, out)
            else:
                self.cable.burst(self.now, event.steps, out)
            self.take(out)
        return self

    def until(self, end: int) -> None:
        while self.cable.due is not None and self.cable.due <= end:
            self.now = max(self.now, self.cable.due)
            out: list[Delivery] = []
            self.cable.flush(self.now, out)
            self.take(out)
            assert self.cable.due is None or self.cable.due > self.now
        self.now = end

    def run_dry(self) -> "CableInTime":
        while self.cable.due is not None:
            self.until(self.cable.due)
        return self

    def take(self, out: list[Delivery]) -> None:
        self.handed += [(self.now, delivery) for delivery in out]

    @property
    def messages(self) -> list[bytes]:
        return [message for _, (_, message, _) in self.handed]


def on_the_cable(messages: Sequence[bytes], running: bool) -> list[int]:
    """Bytes of each message as an interface writes them: with running status a channel message's status is left out
    where it repeats the last; system messages end it, real-time bytes do not touch it (MIDI 1.0 p. A-1 to A-2)."""
    status, sizes = 0, []
    for message in messages:
        first = message[0]
        sizes.append(len(message) - (running and first < 0xF0 and first == status))
        if first < 0xF8:
            status = first if first < 0xF0 else 0
    return sizes


# The figures of the standard


def _time_of(messages: Sequence[bytes], speed: CableSpeed) -> float:
    """Milliseconds until the last byte of these has left a cable that was idle."""
    cable = CableInTime(speed)
    cable.perform([Event(0, (message,)) for message in messages]).run_dry()
    sizes = on_the_cable(messages, speed.running_status)
    last = cable.handed[-1][1]
    return (last[2] + sizes[-1] * BYTE) / MS


def test_the_line() -> None:
    """31,250 baud, ten bits a byte: 320 µs per byte, 3,125 bytes per second (din-baud, din-frame, din-byte-us)."""
    bits = check_value("din-frame").expected["bits"]
    baud = check_value("din-baud").expected["baud"]
    assert DIN.byte_ns * baud == bits * 10**9
    assert DIN.byte_ns == check_value("din-byte-us").expected["us"] * 1000
    assert 10**9 / DIN.byte_ns == check_value("din-bytes-per-second").expected


SIZES = [entry for entry in check_values("din-") if (entry.input or {}).keys() == {"bytes"}]


@pytest.mark.parametrize("speed", [DIN, DIN_RUNNING], ids=["plain", "running status"])
@pytest.mark.parametrize("entry", SIZES, ids=lambda entry: entry.id)
def test_times_of_one_message(entry: CheckValue, speed: CableSpeed) -> None:
    """One message takes 320 µs for each of its bytes; running status saves nothing on a single message."""
    length, expected = entry.input["bytes"], entry.expected
    short = {1: b"\xf8", 2: b"\xc0\x05", 3: b"\x90\x3c\x40"}
    message = short.get(length) or b"\xf0" + bytes(length - 2) + b"\xf7"
    assert _time_of([message], speed) == pytest.approx(expected.get("ms") or expected["us"] / 1000)


@pytest.mark.parametrize("name", ["din-chord-4", "din-chord-10"])
def test_times_of_a_chord(name: str) -> None:
    """Ten note-ons on one channel: 9.6 ms, and 6.72 ms with running status (MIDI 1.0 p. A-1)."""
    chord = [bytes((0x90, 48 + key, 64)) for key in range(check_value(name).input["notes"])]
    assert _time_of(chord, DIN) == pytest.approx(check_value(name).expected["plain_ms"])
    assert _time_of(chord, DIN_RUNNING) == pytest.approx(check_value(name).expected["running_status_ms"])


@pytest.mark.parametrize(("suffix", "speed"), [("plain", DIN), ("rs", DIN_RUNNING)])
def test_times_of_a_panic(suffix: str, speed: CableSpeed) -> None:
    """A note-off for every key of every channel takes two seconds, four mode messages each 61 ms (p. 1, A-1)."""
    keys, short = check_value("mode-panic-bytes"), check_value("mode-panic-short")
    channels = range(keys.input["channels"])
    offs = [bytes((0x80 | channel, key, 64)) for channel in channels for key in range(keys.input["notes"])]
    modes = [bytes((0xB0 | channel, number, 0)) for channel in channels for number in (64, 120, 121, 123)]
    assert len(modes) == short.input["channels"] * short.input["messages"]
    for entry, messages in ((keys, offs), (short, modes)):
        assert sum(on_the_cable(messages, speed.running_status)) == entry.expected[f"bytes_{suffix}"]
        assert _time_of(messages, speed) == pytest.approx(entry.expected[f"ms_{suffix}"])


def test_real_time_goes_first() -> None:
    """A clock may go before, into or after a message, and is never lost; start and stop keep their places (p. 32)."""
    entry = check_value("clock-priority")
    cable = CableInTime(DIN).perform([Event(0, (bytes.fromhex(message),)) for message in entry.input["in"]]).run_dry()
    assert " ".join(message.hex(" ").upper() for message in cable.messages) in entry.expected["allowed"]
    real_time = [bytes((byte,)) for byte in (0xFA, 0xF8, 0xF8, 0xFC, 0xF8, 0xFB, 0xF8)]
    flood = [Event(0, (bytes((0x90, key, 1)),)) for key in range(60)]
    cable = CableInTime(DIN).perform([*flood, *(Event(0, (message,)) for message in real_time), *flood]).run_dry()
    assert [message for message in cable.messages if message[0] >= 0xF8] == real_time, entry.expected["never"]


@pytest.mark.parametrize(
    ("name", "message", "waiting"),
    [
        ("whole-message", b"\x90\x3c\x40", 1),
        ("whole-message", b"\x90\x3c\x40", 40),
        ("between-bytes", b"\xf0" + bytes(30) + b"\xf7", 40),
    ],
)
def test_how_late_a_clock_can_be(name: str, message: bytes, waiting: int) -> None:
    """A clock waits for one short message, and in a SysEx for one byte at most (p. 32), beside what a full cable was
    handed ahead: 3 ms."""
    latest = check_value(f"clock-late-{name}").expected["us"] * 1000
    ahead = DIN.ahead_ns if waiting > 1 and name == "whole-message" else 0
    for gap in range(0, 5000, 37):
        played = [Event(0, (message,)) for _ in range(waiting)]
        cable = CableInTime(DIN).perform([*played, Event(gap, (b"\xf8",))]).run_dry()
        (begin,) = [begin for _, (_, sent, begin) in cable.handed if sent == b"\xf8"]
        assert 0 <= begin - gap * 1000 <= ahead + latest


@pytest.mark.parametrize(("name", "speed"), [("din-rate-3byte", DIN), ("din-rate-rs", DIN_RUNNING)])
def test_messages_a_second(name: str, speed: CableSpeed) -> None:
    """A flood of notes leaves at 1,041.67 per second, with running status at 1,562.5."""
    flood = [bytes((0x90, key % 128, 1 + key % 127)) for key in range(2000)]
    cable = CableInTime(speed).perform([Event(0, (message,)) for message in flood]).run_dry()
    sent = sum(start < 10**9 for _, (_, _, start) in cable.handed)
    assert sent == pytest.approx(check_value(name).expected["per_second"], abs=1)


def test_a_dump_holds_no_clock() -> None:
    """A SysEx of 1,000 bytes would hold back fifteen clocks at 120 bpm; each clock is handed over when it comes."""
    entry = check_value("din-sysex-hold-clock")
    dump = b"\xf0" + bytes(entry.input["bytes"] - 2) + b"\xf7"
    period = 60 * 10**6 // (24 * entry.input["bpm"])  # µs
    clocks = int(entry.expected["clocks"])
    cable = CableInTime(DIN).perform([Event(0, (dump,)), *(Event(period, (b"\xf8",)) for _ in range(clocks))]).run_dry()
    assert [(at, start) for at, (_, message, start) in cable.handed if message == b"\xf8"] == [
        (number * period * 1000,) * 2 for number in range(1, clocks + 1)
    ]


def test_clocks_inside_a_dump_take_their_time() -> None:
    """What follows a dump waits for its last byte, and for the clocks that went in between its bytes."""
    dump = b"\xf0" + bytes(98) + b"\xf7"
    events = [Event(0, (dump,)), *(Event(1000, (b"\xf8",)) for _ in range(5)), Event(0, (b"\x90\x3c\x40",))]
    cable = CableInTime(DIN).perform(events).run_dry()
    assert cable.handed[-1][1] == (0, b"\x90\x3c\x40", 105 * BYTE)


# Any stream

ANY = st.integers(0, 127)
SYSEX = st.sampled_from([3, 12, 32, 33, 200]).map(lambda length: b"\xf0" + bytes(length - 2) + b"\xf7")
REAL_TIME = st.sampled_from([b"\xf8", b"\xf8", b"\xfa", b"\xfc", b"\xfe"])


def voice(status: int, *data: st.SearchStrategy[int]) -> st.SearchStrategy[bytes]:
    return st.tuples(st.integers(0, 3), *data).map(lambda made: bytes((status | made[0], *made[1:])))


VALUES = st.one_of(voice(0xB0, st.sampled_from([1, 7, 10, 33, 39]), ANY), voice(0xE0, ANY, ANY), voice(0xD0, ANY))
NOTES = st.one_of(voice(0x90, ANY, ANY), voice(0x80, ANY, ANY), voice(0xB0, st.sampled_from([64, 6, 38, 98]), ANY))
SHORT = st.one_of(NOTES, NOTES, NOTES, VALUES, VALUES, voice(0xC0, ANY))
SYSTEM = st.sampled_from([b"\xf1\x24", b"\xf2\x10\x20", b"\xf3\x05", b"\xf6"])
MESSAGE = st.one_of(SHORT, SHORT, SHORT, SHORT, REAL_TIME, SYSTEM, SYSEX)
GAP = st.sampled_from([0, 0, 0, 0, 0, 200, 500, 1000, 3000, 20_000])


@st.composite
def bursts(draw: st.DrawFn) -> tuple[BurstUnit, ...]:
    """Up to four steps, each on a channel of its own."""
    channels = draw(st.lists(st.integers(0, 3), max_size=4, unique=True))
    return tuple(
        BurstUnit(
            channel,
            select(channel, draw(st.sampled_from([None, (1, 2)])), draw(ANY)),
            draw(st.sampled_from([0, 5, 30])) * MS,
        )
        for channel in channels
    )


UNIT = st.one_of(MESSAGE.map(lambda message: (message,)), st.just((b"\xb0\x00\x08", b"\xb0\x20\x09", b"\xc0\x01")))
PLAYED = st.builds(lambda gap, unit: Event(gap, unit), GAP, UNIT)
RECALL = st.builds(lambda gap, steps: Event(gap, (), steps), GAP, bursts())
TRAFFIC = st.lists(PLAYED, max_size=120)
SHOW = st.lists(st.one_of(*[PLAYED] * 9, RECALL), max_size=120)


@given(SHOW, SPEEDS)
@settings(max_examples=150)
def test_no_window_holds_more_than_the_cable_carries(show: list[Event], speed: CableSpeed) -> None:
    """In any window of t seconds at most 3,125 t bytes, plus 3 ms and one message, are handed over, counted as the
    interface writes them, with running status where the output uses it."""
    cable = CableInTime(speed).perform(show).run_dry()
    costs = [size * BYTE for size in on_the_cable(cable.messages, speed.running_status)]
    times = [at for at, _ in cable.handed]
    for first in range(len(times)):
        total = longest = 0
        for last in range(first, len(times)):
            total += costs[last]
            longest = max(longest, costs[last])
            assert total <= times[last] - times[first] + 3 * MS + longest


#: what follows a SysEx was handed over already: a clock then waits its turn behind that
BEHIND_SYSEX = [
    [
        Event(0, (b"\xb0\x00\x08", b"\xb0\x20\x09", b"\xc0\x01")),
        Event(0, (b"\xf0" + bytes(10) + b"\xf7",)),
        Event(0, (b"\x90\x00\x00",)),
        Event(6000, (b"\xf8",)),
    ],
    [Event(0, (b"\xf0" + bytes(10) + b"\xf7",)), Event(0, (b"\xf2\x10\x20",)), Event(2500, (b"\xf8",))],
]


@given(SHOW, SPEEDS)
@settings(max_examples=100)
@example(BEHIND_SYSEX[0], DIN)
@example(BEHIND_SYSEX[0], DIN_RUNNING)
@example(BEHIND_SYSEX[1], DIN)
@example(BEHIND_SYSEX[1], DIN_RUNNING)
def test_the_cable_itself_is_never_asked_for_two_bytes_at_once(show: list[Event], speed: CableSpeed) -> None:
    """By the reported start times each message begins when the one before is through, except real-time bytes inside a
    SysEx that is the last thing handed over: over any window no more than 1 + window / 320 µs bytes leave (din-pacing).
    No message is handed over after its start time, nor further ahead than 3 ms and one message."""
    cable = CableInTime(speed).perform(show).run_dry()
    sizes = on_the_cable(cable.messages, speed.running_status)
    free_at = sysex_until = inside = 0
    for length, (at, (_, message, sent)) in zip(sizes, cable.handed, strict=True):
        assert sent >= at
        assert sent - at <= 3 * MS + 3 * BYTE
        if message[0] >= 0xF8 and sent < sysex_until == free_at:
            assert sent >= inside
            inside, sysex_until, free_at = sent + BYTE, sysex_until + BYTE, free_at + BYTE
            continue
        assert sent >= free_at
        free_at = sent + length * BYTE
        if message[0] == 0xF0:
            sysex_until, inside = free_at, 0


def test_a_clock_stays_behind_a_song_position_that_waits_behind_a_sysex() -> None:
    """A driver sends in the order in which it is given things, so a clock that comes after a song position does not
    overtake it into the SysEx before it: it would count for the old position. (Common practice, no source.)"""
    cable = CableInTime(DIN).perform(BEHIND_SYSEX[1]).run_dry()
    assert [(message[0], start // BYTE) for _, (_, message, start) in cable.handed] == [
        (0xF0, 0),
        (0xF2, 12),
        (0xF8, 15),
    ]


@pytest.mark.parametrize("window", [0, 1, 2])
def test_the_pacing_rule(window: int) -> None:
    """A flood leaves no faster than the figures of din-pacing: 2 bytes in 320 µs, 11 in 3.2 ms, 3,126 in a second."""
    entry = check_value("din-pacing")
    length, most = entry.input["window_us"][window] * 1000, entry.expected["max_bytes"][window]
    flood = [Event(0, (bytes((0x90, key % 128, 1)),)) for key in range(1500)]
    cable = CableInTime(DIN).perform(flood).run_dry()
    starts = [sent + place * BYTE for _, (_, message, sent) in cable.handed for place in range(len(message))]
    first = 0
    for last, end in enumerate(starts):
        while starts[first] < end - length:
            first += 1
        assert last - first + 1 <= most


# Order. Each message carries its number in its data, so that all of them can be distinguished.


def numbered(messages: Sequence[bytes]) -> list[bytes]:
    """The same kinds and channels, numbered in sequence: in keys and velocities, in values of a controller."""
    made = []
    for number, message in enumerate(messages):
        low, high = number % 128, 1 + number // 128
        kind = message[0] & 0xF0
        if kind in (0x80, 0x90, 0xE0) or message[0] == 0xF2:
            made.append(bytes((message[0], low, high)))
        elif kind == 0xB0:
            made.append(bytes((message[0], message[1], low)))
        elif kind in (0xC0, 0xD0) or message[0] in (0xF1, 0xF3):
            made.append(bytes((message[0], low)))
        else:
            made.append(message)
    return made


def class_of(message: bytes) -> str:
    """The priority class of a message; controller values that may be replaced by newer ones have none."""
    first, kind = message[0], message[0] & 0xF0
    if first >= 0xF8 or first in (0xF2, 0xF3):
        return "real time"
    if first in (0xF1, 0xF6):
        return "time code"
    if first == 0xF0:
        return "notes" if len(message) <= 32 else "bulk"
    value = kind in (0xD0, 0xE0) or (kind == 0xB0 and message[1] in (1, 7, 10, 33, 39))
    return "values" if value else "notes"


def slot_of(message: bytes) -> tuple[int, ...]:
    return (message[0], message[1]) if message[0] & 0xF0 == 0xB0 else (message[0],)


@given(st.lists(MESSAGE, max_size=120), st.lists(GAP, min_size=120, max_size=120), SPEEDS)
@settings(max_examples=150)
def test_order_within_each_class_and_the_last_of_each_value(
    messages: list[bytes], gaps: list[int], speed: CableSpeed
) -> None:
    """Real-time bytes, notes, pedals, programs, parameters, time code and SysEx all arrive, each kind in its own order;
    the values of each controller, bend and pressure come in order and the last arrives (a high byte that comes later
    makes a low byte void, MIDI 1.0 p. 12)."""
    messages = numbered(messages)
    cable = CableInTime(speed).perform([Event(gap, (m,)) for gap, m in zip(gaps, messages, strict=False)]).run_dry()
    for name in ("real time", "time code", "notes", "bulk"):
        assert [m for m in cable.messages if class_of(m) == name] == [m for m in messages if class_of(m) == name]
    values = [m for m in messages if class_of(m) == "values"]
    arrived = [m for m in cable.messages if class_of(m) == "values"]
    for slot in {slot_of(m) for m in values}:
        went, came = ([m for m in listed if slot_of(m) == slot] for listed in (values, arrived))
        places = [went.index(m) for m in came]
        assert places == sorted(places)
        later = values[len(values) - 1 - values[::-1].index(went[-1]) :]
        if slot[0] & 0xF0 != 0xB0 or slot[1] < 32 or not any(slot_of(m) == (slot[0], slot[1] - 32) for m in later):
            assert came[-1] == went[-1]
    assert cable.cable.counts.shed == 0


@given(SHOW, SPEEDS)
@settings(max_examples=150)
def test_order_on_a_channel_holds_through_bursts(show: list[Event], speed: CableSpeed) -> None:
    """Whatever is recalled meanwhile, the notes and pedals of a channel all arrive in order, and so does the last value
    of each controller."""
    played = numbered([event.unit[0] if len(event.unit) == 1 else b"\xf6" for event in show])
    events = [
        event if event.steps is not None else Event(event.gap, (m,)) for event, m in zip(show, played, strict=True)
    ]
    routed = [event.unit[0] for event in events if event.steps is None]
    cable = CableInTime(speed).perform(events).run_dry()

    def kept(messages: Sequence[bytes], channel: int) -> list[bytes]:
        return [
            m
            for m in messages
            if m[0] < 0xC0 and m[0] & 15 == channel and class_of(m) == "notes" and m[1] not in (0, 32)
        ]

    def notes(messages: Sequence[bytes], channel: int) -> list[bytes]:
        return [m for m in messages if m[0] & 0xE0 == 0x80 and m[0] & 15 == channel]

    for channel in range(4):
        assert notes(cable.messages, channel) == notes(routed, channel)
        pedals = [m for m in kept(routed, channel) if m[0] & 0xF0 == 0xB0]
        assert [m for m in kept(cable.messages, channel) if m[0] & 0xF0 == 0xB0] == pedals
    for slot in {slot_of(m) for m in routed if class_of(m) == "values" and not (m[0] & 0xF0 == 0xB0 and m[1] >= 32)}:
        last = [m for m in routed if m[0] < 0xF0 and slot_of(m) == slot][-1]
        assert [m for m in cable.messages if m[0] < 0xF0 and slot_of(m) == slot][-1] == last


# Bursts


def _ready(cable: CableInTime, steps: Sequence[BurstUnit], before: int) -> int:
    """When the last of these instruments is ready: after its program's last byte and its settle time."""
    ready = 0
    messages = [(message, sent) for _, (_, message, sent) in cable.handed[before:] if message[0] < 0xF8]
    for step in steps:
        place = messages.index(next(one for one in messages if one[0] == step.unit[1]))
        (message, sent) = messages[place + 1]
        assert message == step.unit[2]
        ready = max(ready, sent + 2 * BYTE + step.settle)
    return ready


STEPS = st.integers(1, 16).flatmap(
    lambda count: st.lists(st.sampled_from([0, 5, 30]), min_size=count, max_size=count).map(
        lambda settles: tuple(
            BurstUnit(channel, select(channel, (1, 2), 127), settle * MS) for channel, settle in enumerate(settles)
        )
    )
)
TRIPLE = (b"\xb0\x00\x08", b"\xb0\x20\x09", b"\xc0\x01")  # as add_bank makes them
LOUD = st.lists(
    st.builds(
        lambda gap, unit: Event(gap, unit),
        st.sampled_from([0, 0, 100, 900]),
        st.one_of(*[SHORT.map(lambda m: (m,))] * 9, st.just(TRIPLE)),
    ),
    max_size=80,
)


@given(LOUD, STEPS, LOUD, SPEEDS)
@settings(max_examples=150)
def test_a_burst_is_ready_in_its_time(
    before: list[Event], steps: tuple[BurstUnit, ...], after: list[Event], speed: CableSpeed
) -> None:
    """Whatever notes, pedals, programs and wheels come before and after, each instrument of a recall is ready within
    the burst's computed time plus 5 ms."""
    cable = CableInTime(speed).perform(before)
    recalled, count = cable.now, len(cable.handed)
    cable.perform([Event(0, (), steps), *after]).run_dry()
    assert _ready(cable, steps, count) <= recalled + duration(steps, speed) + 5 * MS


@given(LOUD, STEPS, st.sampled_from([DIN, DIN_RUNNING, None]))
@settings(max_examples=60)
def test_a_burst_is_ready_in_its_time_beside_clock_and_time_code(
    before: list[Event], steps: tuple[BurstUnit, ...], speed: CableSpeed | None
) -> None:
    """Clock at 300 bpm and time code at 30 frames go before a burst, which takes longer by exactly their time."""
    cable = CableInTime(speed).perform(before)
    recalled, count = cable.now, len(cable.handed)
    cable.perform([Event(0, (), steps)])
    for _ in range(12):
        cable.perform([Event(4_000, (b"\xf1\x24",)), Event(4_333, (b"\xf8",))])
    cable.run_dry()
    ready = _ready(cable, steps, count)
    sync = sum(len(message) * BYTE for at, (_, message, _) in cable.handed if message[0] > 0xF0 and at <= ready)
    assert ready <= recalled + duration(steps, speed) + 5 * MS + (sync if speed else 0)


@given(st.lists(st.tuples(GAP, st.integers(0, 3)), max_size=60), SPEEDS)
@settings(max_examples=80)
def test_settling_holds_only_its_own_channel(played: list[tuple[int, int]], speed: CableSpeed) -> None:
    """While the instrument on channel 1 settles, nothing is sent to it, and notes of other channels are handed over as
    early as if it needed no time at all."""
    events = [Event(gap, (bytes((0x90 | channel, number % 128, 64)),)) for number, (gap, channel) in enumerate(played)]
    times = []
    for settle in (0, 10_000 * MS):
        step = BurstUnit(0, select(0, (1, 2), 5), settle)
        cable = CableInTime(speed).perform([Event(0, (), (step,)), *events])
        cable.until(cable.now + 500 * MS)
        if settle:
            assert not [m for m in cable.messages if m[0] == 0x90]
        times.append({m: at for at, (_, m, _) in cable.handed if m[0] in (0x91, 0x92, 0x93)})
        cable.run_dry()
        assert [m for m in cable.messages if m[0] == 0x90] == [e.unit[0] for e in events if e.unit[0][0] == 0x90]
    assert times[0].keys() == times[1].keys()
    assert all(times[1][message] <= at for message, at in times[0].items())


@given(TRAFFIC)
@settings(max_examples=60)
def test_a_fast_output_is_not_paced(traffic: list[Event]) -> None:
    """On a cable without a speed everything is handed over as it comes, unchanged."""
    cable = CableInTime(None).perform(traffic)
    assert cable.messages == [message for event in traffic for message in event.unit]
    assert cable.cable.due is None
    assert all(at == sent for at, (_, _, sent) in cable.handed)


def test_counting_costs_by_running_status() -> None:
    """Running status saves a byte only where the interface would: not after a system message and not when the status
    changes; real-time bytes do not end it (MIDI 1.0 p. A-1 to A-2; Speed.cost against the encoder of this file)."""
    stream = [
        bytes.fromhex(m) for m in ("90 3C 40", "F8", "90 3E 40", "80 3C 40", "F2 00 00", "80 3E 40", "C0 05", "C0 06")
    ]
    sizes = on_the_cable(stream, True)
    assert sizes == [3, 1, 2, 3, 3, 3, 2, 1]
    cable = CableInTime(DIN_RUNNING).perform([Event(0, (message,)) for message in stream]).run_dry()
    assert sorted(cable.messages) == sorted(stream)
    for length, ((_, (_, _, sent)), (_, (_, _, following))) in zip(
        on_the_cable(cable.messages, True), pairwise(cable.handed), strict=False
    ):
        assert following == sent + length * BYTE


def test_a_burst_for_sixteen_channels_with_running_status() -> None:
    """128 bytes take 40.96 ms, with running status 112 take 35.84: as played (scene-burst-16, MIDI 1.0 p. A-1)."""
    steps = [BurstUnit(channel, select(channel, (1, 2), 5), 0) for channel in range(16)]
    for name, speed in (("scene-burst-16", DIN), ("scene-burst-16-rs", DIN_RUNNING)):
        expected = check_value(name).expected
        assert size(steps, speed) == expected["bytes"]
        assert duration(steps, speed) / MS == pytest.approx(expected["ms"])
        cable = CableInTime(speed).perform([Event(0, (), tuple(steps))]).run_dry()
        last = cable.handed[-1][1]
        assert (last[2] + on_the_cable(cable.messages, speed.running_status)[-1] * BYTE) / MS == pytest.approx(
            expected["ms"]
        )
