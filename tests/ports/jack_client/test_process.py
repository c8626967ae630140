"""What the JACK client does in each period, on cycles that are made by hand. (Our own promises: engine/handbook.)"""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.fake_jack import FRAME_NS, FRAMES, INPUT_RING, PERIOD_NS, FakeJack

pytestmark = pytest.mark.slow

LATENCY = 2 * PERIOD_NS
NOTE = b"\x90\x40\x40"


@pytest.fixture
def jack() -> Iterator[FakeJack]:
    """A client without ports."""
    jack = FakeJack()
    yield jack
    jack.close()


def _sysex(size: int) -> bytes:
    return b"\xf0" + bytes(number % 128 for number in range(size - 2)) + b"\xf7" if size > 1 else b"\xf8"


def _all_that_leaves(jack: FakeJack, output: int, size: int) -> list[tuple[int, int, bytes]]:
    """Cycles, frames and bytes until this many bytes have left."""
    found: list[tuple[int, int, bytes]] = []
    for cycle in range(100_000):
        if sum(len(data) for _, _, data in found) >= size:
            break
        jack.cycle()
        found += [(cycle, frame, data) for frame, data in jack.heard(output)]
    return found


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.integers(1, 400), st.integers(0, 4 * FRAMES)), min_size=1, max_size=40),
    st.integers(64, 500),
)
def test_all_leaves_in_order_and_whole_where_it_can(planned: list[tuple[int, int]], room: int) -> None:
    """However small the port's buffer is, every byte leaves in order; frames never go back; only a SysEx that no empty
    buffer takes is divided; and nothing leaves before its frame."""
    jack = FakeJack()
    try:
        jack.room(room)
        output, begin = jack.open(True), jack.now
        sent = [(_sysex(size), frame) for size, frame in planned]
        for data, frame in sent:
            assert jack.send(output, data, begin - LATENCY + frame * FRAME_NS)
        pieces = _all_that_leaves(jack, output, sum(len(data) for data, _ in sent))
        assert b"".join(piece for _, _, piece in pieces) == b"".join(data for data, _ in sent)
        places = [cycle * FRAMES + frame for cycle, frame, _ in pieces]
        assert places == sorted(places)
        begins = dict[int, int]()  # byte -> where the piece that begins with it leaves
        position = 0
        for place, (_, _, piece) in zip(places, pieces, strict=True):
            begins[position] = place
            position += len(piece)
        position = 0
        for data, frame in sent:
            assert begins[position] >= frame
            position += len(data)
            assert position in begins or position == sum(len(each) for each, _ in sent)
        assert {data for data, _ in sent if len(data) <= room} <= {piece for _, _, piece in pieces}
        assert jack.lost(output) == 0
    finally:
        jack.close()


@pytest.mark.parametrize("frame", [0, 1, 31, 62, 63, 64, 100, 1000])
def test_a_message_leaves_on_its_frame(jack: FakeJack, frame: int) -> None:
    """Two periods after its time, to the frame, whether that is in this cycle or a later one."""
    output = jack.open(True)
    jack.send(output, NOTE, jack.now - LATENCY + frame * FRAME_NS)
    assert _all_that_leaves(jack, output, 3) == [(frame // FRAMES, frame % FRAMES, NOTE)]


def _leaves(jack: FakeJack, output: int, late: int, delay: int = 0) -> int:
    """The frame at which a message leaves that is due in the middle of the next cycle (see `FakeJack.cycle`)."""
    jack.send(output, NOTE, jack.now - LATENCY + 32 * FRAME_NS)
    jack.cycle(late=late, delay=delay)
    [(frame, _)] = jack.heard(output)
    return frame


@settings(max_examples=30)
@given(st.lists(st.integers(0, 1200), min_size=50, max_size=50))
def test_delays_of_the_server_hardly_move_a_frame(delays: list[int]) -> None:
    """Once it was in time: a busy machine wakes it up to a period late, and the messages keep their frames."""
    jack = FakeJack()
    try:
        output = jack.open(True)
        jack.cycle()
        assert all(_leaves(jack, output, late) in (30, 31, 32) for late in delays[:40])
    finally:
        jack.close()


@settings(max_examples=30)
@given(st.lists(st.integers(0, 1_000_000), min_size=1, max_size=50))
def test_it_does_not_matter_when_we_are_called(delays: list[int]) -> None:
    """Other programs work before us in each cycle, for as long as they need; the times are those of the server."""
    jack = FakeJack()
    try:
        output = jack.open(True)
        assert all(_leaves(jack, output, 0, delay) in (31, 32) for delay in delays)
    finally:
        jack.close()


def test_a_first_cycle_that_is_late_is_made_up_for_at_once(jack: FakeJack) -> None:
    """Also after periods that were missed: the next one in time shows where the cycles begin."""
    output = jack.open(True)
    for skipped in (0, 5):
        jack.cycle(skipped=skipped, late=900)
        assert abs(_leaves(jack, output, 0) - 32) <= 1
        assert abs(_leaves(jack, output, 700) - 32) <= 1


@pytest.mark.parametrize(("late", "cycles"), [(400, 70), (900, 70), (2000, 1)])
def test_a_delay_that_lasts_is_believed(jack: FakeJack, late: int, cycles: int) -> None:
    """The server began its cycles later from then on, and did not say so: within a tenth of a second, or at once if it
    is more than a period."""
    output = jack.open(True)
    jack.cycle()
    for _ in range(cycles):
        jack.cycle(late=late)
    jack.send(output, NOTE, jack.now + late * 1000 - LATENCY + 32 * FRAME_NS)
    jack.cycle(late=late)
    assert [frame for frame, _ in jack.heard(output)] in ([31], [32], [33])


@pytest.mark.parametrize("at", [-1e12, -1e9, -LATENCY - 1e6, 2e9, 1e15])
def test_what_is_late_or_absurdly_early_leaves_at_once(jack: FakeJack, at: float) -> None:
    """A time long past and one more than a second ahead count as now, and hold up nothing behind them."""
    output = jack.open(True)
    jack.send(output, NOTE, jack.now + at)
    jack.send(output, b"\xf8")
    jack.cycle()
    assert jack.heard(output) == [(0, NOTE), (0, b"\xf8")]


@pytest.mark.parametrize("frame", [0, 1, 40, 63])
def test_an_answer_within_the_period_keeps_its_frame(jack: FakeJack, frame: int) -> None:
    """What came at a frame and is sent on with its own time leaves at that frame of the next cycle."""
    source, output = jack.open(False), jack.open(True)
    jack.play(source, frame, NOTE)
    jack.cycle()
    jack.silence(source)
    [(at, message)] = jack.read(source)
    jack.send(output, message, at)
    jack.cycle()
    assert jack.heard(output) == [(frame, NOTE)]


@settings(max_examples=30)
@given(st.lists(st.lists(st.tuples(st.integers(0, 63), st.binary(min_size=1, max_size=300)), max_size=8), max_size=8))
def test_all_arrives_with_its_time(cycles: list[list[tuple[int, bytes]]]) -> None:
    """Every event of every cycle arrives, in order, stamped a period before its frame, within a few microseconds."""
    jack = FakeJack()
    try:
        source, wanted = jack.open(False), []
        for events in cycles:
            begin = jack.now
            for frame, data in sorted(events, key=lambda event: event[0]):
                assert jack.play(source, frame, data)
                wanted.append((begin - PERIOD_NS + frame * FRAME_NS, data))
            jack.cycle()
            jack.silence(source)
        found = jack.read(source)
        assert [data for _, data in found] == [data for _, data in wanted]
        assert all(abs(at - due) < FRAME_NS for (at, _), (due, _) in zip(found, wanted, strict=True))
    finally:
        jack.close()


def test_an_input_that_nobody_reads_is_bounded_and_counts(jack: FakeJack) -> None:
    """What finds no room in the ring is dropped and counted, and so is what the library had no room for."""
    source = jack.open(False)
    most = INPUT_RING // 24
    for _ in range(most // 1000 + 1):
        for _ in range(1000):
            jack.play(source, 0, NOTE)
        jack.cycle()
        jack.silence(source)
    assert jack.lost(source) == (most // 1000 + 1) * 1000 - most
    jack.lose(source)
    jack.cycle()
    assert jack.lost(source) == (most // 1000 + 1) * 1000 - most + 1
    assert len(jack.read(source)) == most


@pytest.mark.parametrize("size", [1, 2, 3, 63, 64, 1023, 1024, 1025, 4096, 16_380, 65_535, 100_000, 1_000_000])
def test_a_message_of_any_length_leaves_whole(jack: FakeJack, size: int) -> None:
    """From one byte to a megabyte, over as many periods as it takes; what was kept beside the ring is given back."""
    jack.room(32_720)
    output = jack.open(True)
    assert jack.send(output, _sysex(size))
    assert b"".join(data for _, _, data in _all_that_leaves(jack, output, len(_sysex(size)))) == _sysex(size)
    jack.send(output, NOTE)
    assert jack.kept(output) == 0


def test_more_than_an_output_holds_is_refused(jack: FakeJack) -> None:
    """Short messages fill the ring, long ones the four megabytes beside it; both are refused then, and go on later."""
    output = jack.open(True)
    short = sum(jack.send(output, NOTE) for _ in range(10_000))
    assert short == (1 << 17) // 24
    assert not jack.send(output, _sysex(2000))
    _all_that_leaves(jack, output, 3 * short)
    assert sum(jack.send(output, _sysex(1_000_000)) for _ in range(10)) == 4
    assert jack.send(output, NOTE)


def test_a_message_that_not_even_an_empty_buffer_takes_is_counted(jack: FakeJack) -> None:
    """It is lost, and what follows it is not held up for ever."""
    output = jack.open(True)
    jack.room(2)
    jack.send(output, NOTE)
    jack.send(output, b"\xf8")
    jack.cycle()
    assert jack.heard(output) == [(0, b"\xf8")]
    assert jack.lost(output) == 1


def test_places_are_used_again_and_are_no_more_than_there_are(jack: FakeJack) -> None:
    """A closed port's place is free; a port that the server refuses takes none."""
    places = [jack.open(number % 2 == 1) for number in range(8)]
    assert len(set(places)) == 8
    assert jack.open(False) == -1
    assert all(jack.close_port(place) for place in places)
    assert {jack.open(number % 2 == 1) for number in range(8)} == set(places)


def test_periods_that_were_missed_are_counted(jack: FakeJack) -> None:
    """A cycle that comes three periods late counts as three."""
    jack.cycle()
    jack.cycle()
    assert jack.missed == 0
    jack.cycle(skipped=3)
    jack.cycle()
    assert jack.missed == 3


@pytest.mark.parametrize("buffers", [1, 2, 3])
def test_a_silent_output_is_not_sent_twice(jack: FakeJack, buffers: int) -> None:
    """Its buffers are emptied, and then they stay empty; what comes after a silence leaves as before."""
    jack.turns(buffers)
    output = jack.open(True)
    for _ in range(3):
        jack.send(output, NOTE)
        jack.cycle()
        assert jack.heard(output) == [(0, NOTE)]
        for _ in range(20):
            jack.cycle()
            assert jack.heard(output) == []
