"""What is sent over a link arrives as it was sent, and nothing else does."""

import contextlib
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.cluster.link.wire_format import EventSender, OrderSender, read_events, read_orders
from engine.core.cable.output_cable import BurstUnit
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind
from tests.support.counted_work import lines_run

_messages = st.one_of(
    st.sampled_from((b"\xf8", b"\xf0\x7e\xf7", b"\xc1\x05", b"\xf0" + bytes(5000) + b"\xf7")),
    st.builds(lambda k, v: bytes((0x93, k, v)), st.integers(0, 127), st.integers(0, 127)),
)
_units = st.lists(_messages, min_size=1, max_size=3).map(tuple)
_steps = st.lists(
    st.builds(
        BurstUnit,
        st.integers(0, 15),
        _units,
        st.integers(0, 60_000_000_000),
        *[st.booleans()] * 3,
        st.one_of(st.just(()), _units),
        st.just(""),
    ),
    max_size=3,
).map(tuple)
_orders = st.one_of(
    st.builds(lambda kind, unit: Order(kind, unit), st.sampled_from((OrderKind.UNIT, OrderKind.KEPT)), _units),
    st.builds(lambda steps: Order(OrderKind.BURST, steps=steps), _steps),
    st.builds(lambda unit: Order(OrderKind.PANIC, unit), _units),
    st.integers(1, 2).map(lambda many: Order(OrderKind.STATE, (ReceiverState().snapshot(0),) * many)),
)


@given(st.lists(st.lists(_messages, min_size=1, max_size=5), max_size=5))
def test_events_come_out_as_they_went_in(turns: list[list[bytes]]) -> None:
    """Every message arrives once, with its time; short ones in order and numbered without a gap, long ones alone."""
    sender, numbered, found, expected, at = EventSender(7), 0, [], [], 1000
    for turn in turns:
        events = []
        for message in turn:
            at += 12345
            events.append((at, message))
        expected += events
        for payload, bulk in sender.packs(events):
            read = read_events(payload)
            assert read.stream == 7
            assert bulk == (read.first is None)
            if read.first is not None:
                assert read.first == numbered
                numbered += len(read.events)
            found += read.events
    assert sorted(found) == sorted(expected)
    short = [event for event in found if len(event[1]) < 1000]
    assert short == [event for event in expected if len(event[1]) < 1000]


@given(st.lists(_orders, max_size=8), st.integers(0, (1 << 63) - 1))
def test_orders_come_out_as_they_went_in(orders: list[Order], epoch: int) -> None:
    """Every order arrives once, under its epoch; numbered orders arrive without a gap and in order."""
    found, numbered = [], 0
    for payload, _ in OrderSender(epoch).packs(orders):
        read = read_orders(payload)
        assert read.epoch == epoch
        if read.first is not None:
            assert read.first == numbered
            numbered += len(read.orders)
        found += read.orders
    assert sorted(found, key=repr) == sorted(orders, key=repr)


@given(st.binary(max_size=40))
def test_what_is_nothing_of_the_kind_is_refused(payload: bytes) -> None:
    """Any bytes are either read or rejected with ValueError; no other error is raised."""
    for read in (read_events, read_orders):
        with contextlib.suppress(ValueError):
            read(payload)


def test_another_version_is_named() -> None:
    """What another version of Bayleaf sends is not taken for nonsense: the fault names the remedy."""
    note = b"\x90\x3c\x40"
    ((events, _),) = EventSender(1).packs([(5, note)])
    ((orders, _),) = OrderSender(1).packs([Order(OrderKind.UNIT, (note,))])
    for read, payload in ((read_events, events), (read_orders, orders)):
        with pytest.raises(ValueError, match="another version of Bayleaf"):
            read(bytes((payload[0] - 1,)) + payload[1:])


def test_a_long_message_takes_no_more_steps_to_check_than_a_short_one() -> None:
    """A machine that floods the network with dumps must not hold Python's lock with each byte."""
    short, long = (bytes((0xF0, *bytes(length), 0xF7)) for length in (5, 50_000))
    steps = [lines_run(partial(read_events, next(EventSender(1).packs([(0, each)]))[0])) for each in (short, long)]
    assert steps[1] - steps[0] < 10


def test_a_message_that_is_none_is_refused() -> None:
    """An incomplete message is not passed on (MIDI 1.0: a note-on has two data bytes)."""
    ((payload, _),) = EventSender(1).packs([(0, bytes((0x90, 60)))])
    with pytest.raises(ValueError, match="not a whole message"):
        read_events(payload)


def test_no_more_comes_than_is_sent_together() -> None:
    """Of many events and orders a sender makes several messages, and a reader stops at the fifty-first."""
    note = bytes((0x90, 60, 100))
    events = [*EventSender(1).packs([(0, note)] * 120)]
    assert [len(read_events(payload).events) for payload, _ in events] == [50, 50, 20]
    orders = [*OrderSender(1).packs([Order(OrderKind.UNIT, (note,))] * 120)]
    assert [len(read_orders(payload).orders) for payload, _ in orders] == [50, 50, 20]
    for read, payload in ((read_events, events[0][0]), (read_orders, orders[0][0])):
        with pytest.raises(ValueError, match="more than can be sent together"):
            read(payload + payload[-len(note) - 3 :] * 2)


def test_a_burst_goes_with_the_player_whose_it_is() -> None:
    """That of the rest of the rig names nobody."""
    steps = (BurstUnit(1, (b"\xc1\x05",), 0, player="anna"),)
    orders = [Order(OrderKind.BURST, steps=steps, player="anna"), Order(OrderKind.BURST, player="anna")]
    ((payload, _),) = OrderSender(7).packs(orders)
    assert read_orders(payload).orders == orders
    ((plain, _),) = OrderSender(7).packs([Order(OrderKind.BURST)])
    assert plain == bytes((2, 0, 0, 7, OrderKind.BURST, 0))
