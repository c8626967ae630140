"""The bounded queues of the inputs: what a flood may lose, and what it may not. (Our own design.)"""

from collections.abc import Callable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from engine.core.cable.replaceable_values import slot
from engine.core.routing.loops import QUESTION
from engine.live.reader import Backlog, InputReader
from engine.midi.kinds import is_release
from engine.ports.memory import MemoryInput

MOST = 16  # in place of thousands, so that random floods fill it

LATER = 1_000_000_000  # ns from step to step: long enough for a sane device to have sent all of it
END = 1_000_000 * LATER

MESSAGES = st.one_of(
    st.builds(lambda key: bytes((0x90, key, 64)), st.integers(0, 5)),
    st.builds(lambda key: bytes((0x80, key, 0)), st.integers(0, 5)),
    st.builds(lambda number, value: bytes((0xB0, number, value)), st.sampled_from([1, 7, 64]), st.integers(0, 127)),
    st.builds(lambda value: bytes((0xE0, 0, value)), st.integers(0, 127)),
    st.builds(lambda program: bytes((0xC0, program)), st.integers(0, 127)),
    st.sampled_from([b"\xf8", b"\xf0\x7d\x01\xf7"]),
)
#: messages that arrive at once, or the number that is taken
STEPS = st.lists(st.one_of(st.lists(MESSAGES, max_size=40), st.integers(0, 12)), max_size=40)


def small(most_releases: int = 1 << 20) -> Backlog:
    """A backlog of few messages, without a limit on how soon they are taken."""
    return Backlog(0, MOST, most_releases, each=0)


def played(
    steps: list[list[bytes] | int], bound: Callable[..., Any] = lambda backlog: None
) -> tuple[list[bytes], list[bytes], Backlog]:
    """Everything that came in and that came out, in order; and the backlog, empty by then."""
    backlog, came, went = small(), [], []
    for at, step in enumerate(steps):
        if isinstance(step, int):
            went += [message for _, _, message in backlog.take(LATER * at, step)]
        else:
            came += step
            backlog.put(at, step)
        bound(backlog)
        backlog.settle()
    while len(backlog):
        went += [message for _, _, message in backlog.take(END, 1 << 20)]
        backlog.settle()
    return came, went, backlog


@given(STEPS)
def test_no_release_is_ever_lost(steps: list[list[bytes] | int]) -> None:
    """In any flood, each release that comes in goes out, and releases keep their order."""
    came, went, _ = played(steps)
    assert [m for m in went if is_release(m)] == [m for m in came if is_release(m)]


@given(STEPS)
def test_the_newest_value_of_everything_survives(steps: list[list[bytes] | int]) -> None:
    """In any flood, the last value out of each controller, bend and program is the last that came in."""
    came, went, _ = played(steps)
    assert {slot(m): m for m in went if slot(m)} == {slot(m): m for m in came if slot(m)}


@given(STEPS)
def test_the_order_is_kept(steps: list[list[bytes] | int]) -> None:
    """In any flood, messages go out in the order in which they came in; only releases overtake late ones."""
    backlog, went = small(), []
    for at, step in enumerate(steps):
        if isinstance(step, int):
            went += backlog.take(LATER * at, step)
        for place, message in enumerate(step if isinstance(step, list) else ()):
            backlog.put(100 * at + place, [message])
        backlog.settle()
    while len(backlog):
        went += backlog.take(END, 1 << 20)
        backlog.settle()
    times = [at for at, _, message in went if not is_release(message)]
    assert times == sorted(times)


@given(STEPS)
def test_what_is_shed_is_counted(steps: list[list[bytes] | int]) -> None:
    """No message goes out twice or from nowhere, and `shed` counts those that came in and did not go out."""
    came, went, backlog = played(steps)
    assert not [m for m in set(went) if went.count(m) > came.count(m)]
    assert len(came) - len(went) == backlog.shed


@given(STEPS)
def test_it_is_bounded(steps: list[list[bytes] | int]) -> None:
    """However much arrives, no more waits than the limit, one value of each controller, and the releases."""

    def bound(backlog: Backlog) -> None:
        releases = sum(is_release(message) for _, _, message in backlog.queue)
        assert len(backlog) - releases <= MOST + 5  # two controllers, a pedal, the bend, the program

    played(steps, bound)


@given(st.lists(st.one_of(st.lists(MESSAGES, max_size=4), st.just(4)), max_size=40))
def test_without_a_flood_nothing_changes(steps: list[list[bytes] | int]) -> None:
    """While there is room, everything goes out as it came in."""
    paced = [each for step in steps for each in (step, 4)]  # at most four messages wait
    came, went, backlog = played(paced)
    assert (went, backlog.shed) == (came, 0)


def test_releases_beyond_a_second_bound_are_reported_once() -> None:
    """From a device that sends nothing but releases, endlessly, one release of each key is kept."""
    came = [bytes((0x80, key, 0)) for _ in range(100) for key in (1, 2, 3)]
    backlog = small(most_releases=32)
    backlog.put(0, came)
    assert len(backlog) <= 32 + 3
    went = [message for _, _, message in backlog.take(END, 1000)]
    backlog.settle()
    went += [message for _, _, message in backlog.take(END, 1000)]
    assert set(went) == set(came)
    assert len(went) + backlog.shed == len(came)


def test_the_answer_that_proves_a_loop_is_kept_in_its_flood() -> None:
    """A loop fills the queue by itself; the question that went out to prove it is not left out with the rest."""
    asked = QUESTION + b"\x00\x01\xf7"
    backlog = small()
    backlog.put(0, [b"\x90\x3c\x40"] * MOST)
    other = b"\xf0\x7d\x01\xf7"
    backlog.put(0, [other, asked])
    went = [message for _, _, message in backlog.take(END, 1000)]
    assert asked in went
    assert other not in went


def test_the_wait_is_that_of_the_oldest_message_while_some_are_left() -> None:
    """`oldest_wait` says how far the loop is behind, and 0 as soon as it has taken all."""
    keys = MemoryInput("keys")
    reader = InputReader({0: keys}, clock=lambda: 5_000_000)
    keys.push(b"\x90\x3c\x40" * 10)
    reader._poll(1_000_000)
    taken = reader.take()
    assert len(taken) < 10
    assert reader.oldest_wait == 4_000_000
    reader.take()
    assert reader.oldest_wait == 0


def test_a_flood_costs_the_loop_no_more_than_a_sane_device_might() -> None:
    """At 30,000 messages per second, 8,000 per second are taken after the first 8,192; at 4,000 per second, all."""
    for rate, most in ((30_000, 8192 + 8_000 * 3), (4_000, 4_000 * 3)):
        backlog, taken = Backlog(0), 0
        for millisecond in range(3000):
            now = 5_000_000_000 + 1_000_000 * millisecond
            backlog.put(now, [b"\xe0\x00\x40", b"\x90\x3c\x40"] * (rate // 2000))
            taken += len(backlog.take(now, 1000))
            backlog.settle()
        assert most - 8 <= taken <= most


def test_a_flood_leaves_the_others_their_turn() -> None:
    """While one input floods, a message of another is in the next batch, after what was played before it."""
    flooding, playing = MemoryInput("pads"), MemoryInput("keys")
    reader = InputReader({0: flooding, 1: playing})
    for _ in range(20):
        flooding.push(b"\x90\x3c\x40\x80\x3c\x40" * 500)
        reader._poll(1)
        reader._settle()
    playing.push(b"\x90\x30\x40")
    reader._poll(2)
    reader._settle()
    batch = reader.take()
    assert (2, 1, b"\x90\x30\x40") in batch
    assert len(batch) <= 100
    assert reader.shed(0) > 0
    assert reader.shed(1) == 0


def test_a_flood_of_sysex_gets_a_smaller_turn() -> None:
    """A SysEx costs several times as much as a note: of many that wait, one is taken in a turn, with what is before the
    next; few are taken as they come, and the order stays."""
    sysex, note = bytes.fromhex("F0 7E 7F 06 01 F7"), b"\x90\x3c\x40"
    backlog, sent = Backlog(0), [note, sysex, note, note, sysex, sysex, sysex, *[note] * 9]
    backlog.put(0, sent)
    turns = []
    while len(backlog):
        turns.append([message for _, _, message in backlog.take(0, 8)])
    assert [message for turn in turns for message in turn] == sent
    assert turns[0] == [note, sysex, note, note]
    assert max(turn.count(sysex) for turn in turns if len(turn) > 1) <= 1
    assert max(map(len, turns)) == 8
    backlog.put(0, [sysex] * 3)
    assert len(backlog.take(0, 8)) == 3
