"""Reading and sending time code. (MIDI Time Code, RP-004/RP-008 4.2.1.)"""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.timing.timecode import TimecodeGenerator, TimecodeReader, TimecodeStep
from engine.midi.timecode import RATES, Label, Rate, from_full_frame, full_frame, quarter_frames, read_label
from tests.support.check_values import check_value

MS = 1_000_000
SECOND = 1000 * MS
NAMES = {"24": "24", "25": "25", "30": "30", "29.97": "29.97 drop"}

rates = st.sampled_from(list(RATES.values()))
every_rate = pytest.mark.parametrize("rate", list(RATES.values()), ids=list(RATES))


class Tape:
    """A source of quarter frames and the reader that receives it; `true` is the frame under the head."""

    def __init__(self, start: Label) -> None:
        self.reader = TimecodeReader()
        self.start, self.now, self.quarters = start, 0, 0
        self.steps: list[TimecodeStep] = []

    @property
    def true(self) -> Label:
        return self.start.plus(self.quarters // 4)

    def play(self, quarters: int, lost: frozenset[int] = frozenset(), speed: int = 1) -> None:
        """Quarter frames from the current place; those in `lost` do not reach the reader; speed -1 is reverse."""
        for number in range(quarters):
            group, piece = divmod(self.quarters, 8)
            if number not in lost:
                self.hear(quarter_frames(self.start.plus(2 * group))[piece])
            if number < quarters - 1:
                self.quarters += speed
                self.now += self.start.rate.nanoseconds(1)

    def on(self, speed: int = 1) -> None:
        self.quarters += speed
        self.now += self.start.rate.nanoseconds(1)

    def hear(self, message: bytes) -> None:
        step = self.reader.hear(self.now, message)
        if step is not None:
            self.steps.append(step)

    def error(self) -> int:
        """Frames off. At the last of eight pieces the next frame may be shown already (RP-004 p. 3)."""
        assert self.reader.label is not None
        off = self.reader.label.after(self.true)
        return 0 if off == 1 and self.quarters % 8 == 7 else off


def nearly(generator: TimecodeGenerator, now: int) -> set[Label]:
    """The generator's place now, and one quarter frame on (see `Tape.error`)."""
    return {generator.label(now), generator.label(now + generator.rate.nanoseconds(1))}


def frame_of(frame: int, rate: Rate) -> int:
    return Label(rate, frame).parts[3]


def taken(generator: TimecodeGenerator, now: int, end: int) -> list[tuple[int, bytes]]:
    sent = []
    while generator.due is not None and generator.due <= end:
        now = max(now, generator.due)
        sent += [(now, message) for message in generator.send(now)]
    return sent


# Reading


@pytest.mark.parametrize("key", ["mtc-lag", "mtc-lag-df", "mtc-lag-df10", "mtc-lag-25", "mtc-lag-24"])
def test_forwards_the_lag_is_made_up(key: str) -> None:
    """At the last of eight pieces the label is known, and by then the place is two frames on (p. 3)."""
    found = check_value(key)
    start = read_label(found.input["group"], RATES[NAMES[str(found.input["rate"])]])
    tape = Tape(start)
    tape.play(8)
    assert str(tape.reader.label) == found.expected


def test_backwards_there_is_no_lag() -> None:
    """From piece 7 down to piece 0 the place is the one that the pieces give (p. 3)."""
    found = check_value("mtc-lag-reverse")
    label, reader = read_label(found.input["group"], RATES["30"]), TimecodeReader()
    for number, piece in enumerate(found.input["order"]):
        reader.hear(number * 8 * MS, quarter_frames(label)[piece])
    assert (str(reader.label), reader.direction) == (found.expected, -1)


def test_the_direction() -> None:
    """Rising piece numbers run forwards, falling ones in reverse."""
    found = check_value("mtc-direction")
    for pieces, expected in zip(found.input["types"], found.expected, strict=True):
        reader = TimecodeReader()
        for number, piece in enumerate(pieces):
            reader.hear(number * 8 * MS, quarter_frames(Label(RATES["30"], 0))[piece])
        assert reader.direction == {"forward": 1, "reverse": -1}[expected]


def test_the_lock() -> None:
    """No label is shown before a whole run of eight pieces in order, whichever comes first."""
    pieces, reader, label = check_value("mtc-lock").input["types"], TimecodeReader(), Label(RATES["25"], 1000)
    for number, piece in enumerate(pieces):
        assert reader.label is None
        reader.hear(number * 10 * MS, quarter_frames(label)[piece])
    assert reader.label == label.plus(2)


def test_a_group_is_two_frames() -> None:
    """From one whole run of eight pieces to the next the place moves on by two frames (p. 3)."""
    tape = Tape(Label(RATES["30"], 1000))
    tape.play(8)
    before = tape.reader.label
    tape.on()
    tape.play(8)
    assert before is not None
    assert tape.reader.label is not None
    assert tape.reader.label.after(before) == check_value("mtc-two-frames").expected


def test_cueing_is_no_place() -> None:
    """Cueing messages, set-up and real time, neither move the place nor stop it (RP-004; mtc-cueing-nrt)."""
    tape = Tape(Label(RATES["25"], 2 * 700))
    tape.play(80)
    place = tape.reader.label
    for header in check_value("mtc-cueing-nrt").expected.values():
        for data in ("00 00 00 00 00 00 01 00", "01 21 02 03 04 00 01 00"):
            tape.hear(bytes.fromhex(f"{header.replace('dd', '7F')} {data} F7"))
    assert (tape.reader.label, tape.reader.running) == (place, True)


def test_a_full_message_locates_and_does_not_run() -> None:
    """A full message moves the place; it runs from the first quarter frame after it (p. 5)."""
    reader, place = TimecodeReader(), Label(RATES["25"], 5000)
    step = reader.hear(0, full_frame(place))
    assert step == TimecodeStep(None, place, False)
    assert (reader.label, reader.running, reader.due) == (place, False, None)
    first = quarter_frames(place)[0]
    reader.hear(10 * MS, first)
    began = f"running from {first[:1].hex().upper()}" if reader.running else "not running"
    assert began == check_value("mtc-full-not-running").expected


def test_winding() -> None:
    """Winding sends only full messages: the place follows them and nothing runs."""
    reader = TimecodeReader()
    for number in range(50):
        step = reader.hear(number * 100 * MS, full_frame(Label(RATES["24"], number * 1000)))
        assert step is not None
        assert not step.ran
        assert not reader.running


def test_our_own_winding() -> None:
    """While it is wound, our own time code sends full messages and no quarter frames (p. 3, 5)."""
    generator = TimecodeGenerator(RATES["24"], Label(RATES["24"], 0))
    sent = []
    for number in range(50):
        sent += generator.locate(number * 100 * MS, Label(RATES["24"], number * 1000))
        sent += [message for _, message in taken(generator, number * 100 * MS, (number * 100 + 99) * MS)]
    assert len(sent) == 50
    running = "no F1 stream" if not [message for message in sent if message[0] == 0xF1] else "F1 stream"
    assert f"{running} while shuttling" == check_value("mtc-shuttle").expected


@every_rate
def test_the_place_is_right_at_every_quarter_frame(rate: Rate) -> None:
    """Once locked the label shown is the frame under the head at each quarter frame, and each frame is a step."""
    tape = Tape(Label(rate, 2 * 1234))
    tape.play(8)
    for _ in range(2000):
        tape.on()
        tape.play(1)
        assert tape.error() == 0
    assert all(step.ran for step in tape.steps[1:])
    assert [step.label for step in tape.steps[1:]] == [tape.steps[0].label.plus(n) for n in range(1, len(tape.steps))]


@every_rate
@pytest.mark.parametrize("first", ["23:59:50:00", "00:00:59:20", "00:09:59:20", "11:59:58:00"])
def test_over_midnight_and_minutes(rate: Rate, first: str) -> None:
    """Reader and generator agree past midnight and over the minutes that leave labels out."""
    generator, reader = TimecodeGenerator(rate, read_label(first, rate)), TimecodeReader()
    for message in generator.start(0):
        reader.hear(0, message)
    shown = 0
    for now, message in taken(generator, 0, 20 * SECOND):
        reader.hear(now, message)
        if now > SECOND:
            assert reader.label in nearly(generator, now)
            shown += 1
    assert shown > 1800


@every_rate
def test_reverse(rate: Rate) -> None:
    """In reverse the label shown is never more than two frames from the head; forwards again the reader locks again."""
    tape = Tape(Label(rate, 2 * 4000))
    tape.play(100)
    for speed, wait in ((-1, 16), (1, 16), (-1, 16)):
        for number in range(200):
            tape.on(speed)
            tape.play(1)
            assert abs(tape.error()) <= 2
            if number > wait:
                assert abs(tape.error()) <= (0 if speed > 0 else 1)
        assert tape.reader.direction == speed


@every_rate
@pytest.mark.parametrize("count", range(1, 8))
@pytest.mark.parametrize("first", range(8))
def test_lost_quarter_frames(rate: Rate, count: int, first: int) -> None:
    """One to seven pieces lost in a row move the label by no more than two frames; after a lock it is right again."""
    tape = Tape(Label(rate, 2 * 700))
    tape.play(80)
    gone = range(first, first + count)
    for number in range(60):
        tape.on()
        if number not in gone:
            tape.play(1)
        assert abs(tape.error()) <= 2
        if number >= first + count + 16:
            assert tape.error() == 0
    assert all(step.ran for step in tape.steps[1:])


@given(rates, st.sets(st.integers(0, 400), max_size=150))
@settings(max_examples=60)
def test_any_losses(rate: Rate, lost: set[int]) -> None:
    """Whatever is lost, the label is right after two whole groups."""
    tape = Tape(Label(rate, 2 * 700))
    tape.play(400, frozenset(lost))
    tape.on()
    for _ in range(24):
        tape.play(1)
        tape.on()
    tape.play(1)
    assert tape.error() == 0


@given(st.lists(st.integers(0, 127), max_size=200))
def test_garbage(data: list[int]) -> None:
    """Any quarter frames give a valid label or none, and the reader locks to a proper source that follows them."""
    tape = Tape(Label(RATES["29.97 drop"], 2 * 700))
    for byte in data:
        tape.hear(bytes((0xF1, byte)))
        tape.now += 8 * MS
        assert tape.reader.label is None or 0 <= tape.reader.label.frame < tape.reader.label.rate.day
    tape.play(25)
    assert tape.error() == 0


@every_rate
def test_a_jump_without_a_word(rate: Rate) -> None:
    """If a source continues elsewhere without a full message, the label jumps there within two groups."""
    tape = Tape(Label(rate, 2 * 700))
    tape.play(80)
    before = tape.reader.label
    tape.start, tape.quarters = Label(rate, 2 * 90_000), 0
    tape.steps.clear()
    tape.play(17)
    assert tape.error() == 0
    jumps = [step for step in tape.steps if not step.ran]
    assert len(jumps) == 1
    assert before is not None
    assert abs(jumps[0].label.after(tape.start)) <= 4


def _read(tape: Tape) -> tuple[Label | None, bool, int | None]:
    return tape.reader.label, tape.reader.running, tape.reader.due


@every_rate
def test_a_source_that_stops(rate: Rate) -> None:
    """Within half a second of the last quarter frame the time code is shown as stopped there; then it goes on."""
    tape = Tape(Label(rate, 2 * 700))
    tape.play(80)
    place, last = tape.reader.label, tape.now
    assert tape.reader.due is not None
    assert tape.reader.due - last <= 500 * MS
    assert not tape.reader.stopped(tape.reader.due - 1)
    assert tape.reader.running
    assert tape.reader.stopped(tape.reader.due)
    assert _read(tape) == (place, False, None)
    tape.now += 10 * SECOND
    tape.on()
    tape.play(17)
    assert tape.reader.running
    assert tape.error() == 0


def test_a_dropout_that_is_reported() -> None:
    """The NAK of a sender whose own source drops out stops the reader at once, at its current place."""
    tape = Tape(Label(RATES["25"], 2 * 700))
    tape.play(80)
    place = tape.reader.label
    tape.hear(bytes.fromhex(check_value("mtc-nak").expected["nak"].replace("dd", "05").replace("pp", "00")))
    assert (tape.reader.running, tape.reader.label) == (False, place)


def test_user_bits_move_nothing() -> None:
    """User bits are not a place."""
    tape = Tape(Label(RATES["25"], 2 * 700))
    tape.play(80)
    place = tape.reader.label
    tape.hear(bytes.fromhex(check_value("mtc-userbits").expected))
    assert (tape.reader.label, tape.reader.running) == (place, True)


# Sending


def test_where_a_group_begins() -> None:
    """Pieces 0 and 4 are sent as a frame begins, and the frame that is spelt begins with piece 0 (p. 3)."""
    generator = TimecodeGenerator(RATES["30"], Label(RATES["30"], 1000))
    generator.start(0)
    begins, spelt = {}, Label(RATES["30"], 1000)
    for now, message in taken(generator, 0, 64 * MS):
        if now and generator.label(now) == generator.label(now - 1):
            continue
        ahead = generator.label(now).after(spelt)
        begins[str(message[1] >> 4)] = f"frame n+{ahead} starts" if ahead else "frame n starts"
    assert begins == check_value("mtc-boundary").expected


def test_which_frames_a_group_spells() -> None:
    """But at 25 frames per second a group's frame number is always even (p. 2)."""
    entry = check_value("mtc-even-frames")
    for name in entry.input["rate"]:
        rate = RATES[NAMES[str(name).removesuffix("df")]]
        generator = TimecodeGenerator(rate, Label(rate, 1001))
        generator.start(0)
        frames = [m[1] & 0x0F for _, m in taken(generator, 0, 5 * SECOND) if m[0] == 0xF1 and m[1] >> 4 == 0]
        assert len(frames) > 50
        assert ("odd" if any(frame % 2 for frame in frames) else "even") == entry.expected


@every_rate
def test_a_day_without_drift(rate: Rate) -> None:
    """After a day of running, each quarter frame is at its own time to the nanosecond, and the end of the day is its
    start.

    Only the last second is taken quarter frame by quarter frame; the generator is held to have stalled before it.
    """
    generator = TimecodeGenerator(rate, Label(rate, 0))
    generator.start(0)
    day = 4 * rate.day
    assert generator.label(rate.nanoseconds(day)) == Label(rate, 0)
    assert generator.label(rate.nanoseconds(day) - 1) == Label(rate, rate.day - 1)
    generator.send(rate.nanoseconds(day - 400))
    sent = taken(generator, 0, rate.nanoseconds(day + 40))
    first = day + 41 - len(sent)
    for number, (now, message) in enumerate(sent, start=first):
        assert now == rate.nanoseconds(number)
        assert message == quarter_frames(Label(rate, number // 8 * 2 % rate.day))[number % 8]


@every_rate
def test_ten_minutes_quarter_frame_by_quarter_frame(rate: Rate) -> None:
    """In ten minutes exactly as many quarter frames are sent as the rate requires, none twice."""
    generator = TimecodeGenerator(rate, Label(rate, 0))
    generator.start(0)
    sent = taken(generator, 0, 600 * SECOND - 1)
    assert len(sent) == rate.quarters(600 * SECOND - 1) + 1
    assert [message[1] >> 4 for _, message in sent] == [number % 8 for number in range(len(sent))]
    assert {b - a for (a, _), (b, _) in pairwise(sent)} <= {rate.nanoseconds(1), rate.nanoseconds(1) - 1}


@every_rate
@pytest.mark.parametrize("frame", [1001, 1003, 1799, 1800, 17_981])
def test_odd_places(rate: Rate, frame: int) -> None:
    """From any frame the generator sends its place first; groups have even frames but at 25 (p. 2); a reader is
    right."""
    generator, reader = TimecodeGenerator(rate, Label(rate, frame)), TimecodeReader()
    (first,) = generator.start(0)
    assert from_full_frame(first) == Label(rate, frame)
    reader.hear(0, first)
    for number, (now, message) in enumerate(taken(generator, 0, 5 * SECOND)):
        reader.hear(now, message)
        assert number or message[1] >> 4 == (4 if rate.frames != 25 and frame_of(frame, rate) % 2 else 0)
        if message[1] >> 4 == 0 and rate.frames != 25:
            assert message[1] & 1 == 0, "even frames"
        assert reader.label is not None
        assert abs(reader.label.after(generator.label(now))) <= 1
        if number > 16:
            assert reader.label in nearly(generator, now)


@given(rates, st.integers(0, 10**6), st.lists(st.integers(0, 400), min_size=1, max_size=40))
@settings(max_examples=60)
def test_stalls(rate: Rate, frame: int, waits: list[int]) -> None:
    """However the program stalls, at most four pieces are sent at once, and afterwards a reader is right again."""
    generator, reader, now = TimecodeGenerator(rate, Label(rate, frame)), TimecodeReader(), 0
    for message in generator.start(0):
        reader.hear(0, message)
    for wait in waits:
        now += wait * MS
        sent = generator.send(now)
        assert len(sent) <= 4
        for message in sent:
            reader.hear(now, message)
    for at, message in taken(generator, now, now + SECOND):
        reader.hear(at, message)
    assert generator.due is not None
    assert reader.label in nearly(generator, generator.due - 1)


@given(rates, st.integers(0, 10**6), st.integers(0, 10**6), st.integers(0, 5000))
@settings(max_examples=60)
def test_stop_locate_and_start(rate: Rate, first: int, second: int, run: int) -> None:
    """The generator stays where it stopped, runs on from there or from where it was located, and sends each place."""
    generator = TimecodeGenerator(rate, Label(rate, first))
    generator.start(0)
    generator.stop(run * MS)
    assert generator.label(10**12) == Label(rate, first).plus(rate.quarters(run * MS) // 4)
    assert (generator.running, generator.due, generator.send(10**12)) == (False, None, [])
    assert generator.start(2 * 10**12) == [full_frame(generator.label(2 * 10**12))]
    assert generator.start(2 * 10**12) == []
    assert generator.locate(3 * 10**12, Label(rate, second)) == [full_frame(Label(rate, second))]
    assert generator.label(3 * 10**12 + rate.nanoseconds(4)) == Label(rate, second).plus(1)


def test_one_in_ten_lost_at_random() -> None:
    """A long run with one piece in ten lost at random never shows a label more than four frames off."""
    chance, tape = random.Random(4), Tape(Label(RATES["25"], 2 * 700))
    tape.play(80)
    for _ in range(5000):
        tape.on()
        if chance.random() > 0.1:
            tape.play(1)
        assert abs(tape.error()) <= 4
