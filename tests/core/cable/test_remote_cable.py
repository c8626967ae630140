"""An output at another machine: everything a show sends leaves at once, as orders."""

from engine.core.cable.output_cable import BurstUnit, Delivery
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind, RemoteCable
from engine.core.cable.speed import DIN
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall
from tests.support.pit_engine import PORTS, SCENES

NOTE = bytes((0x90, 60, 100))


def _cable(live: bool = True) -> tuple[RemoteCable, list[Delivery]]:
    cable = RemoteCable(0, DIN)
    cable.live = live
    return cable, []


def test_nothing_waits() -> None:
    """However much is sent, all of it leaves at once and nothing remains due."""
    cable, out = _cable()
    for _ in range(500):
        cable.put(7, (NOTE,), out)
    assert out == [(0, NOTE, 7)] * 500
    assert (cable.due, cable.full) == (None, False)
    assert not cable.holds(NOTE)
    assert cable.takes_stray(NOTE), "whether anybody holds the key is known at the other machine"


def test_each_call_leaves_its_order() -> None:
    """Units, bursts and panics are sent as such, so that the machine with the cable can queue them itself."""
    cable, out = _cable()
    step = BurstUnit(3, (bytes((0xC3, 5)),), 30)
    cable.put(0, (NOTE,), out)
    cable.burst(0, (step,), out)
    cable.panic(0, (bytes((0xB0, 123, 0)),), out)
    assert cable.take_orders() == [
        Order(OrderKind.UNIT, (NOTE,)),
        Order(OrderKind.BURST, steps=(step,)),
        Order(OrderKind.PANIC, (bytes((0xB0, 123, 0)),)),
    ]
    assert cable.take_orders() == []


def test_a_follower_keeps_what_sounds_and_orders_nothing() -> None:
    """A cable that is not live sends no orders, but keeps track of what would sound."""
    cable, out = _cable(live=False)
    cable.put(0, (NOTE,), out)
    assert cable.take_orders() == []
    assert cable.believed.all.held == 1


def test_what_a_light_shows_is_no_state() -> None:
    """It is ordered like any message; an engine that takes over brings no light back to what it once told it."""
    cable, out = _cable()
    light, state = bytes((0x90, 20, 127)), Order(OrderKind.STATE, (ReceiverState().snapshot(8),))
    cable.tell(7, "lamp", light, out)
    assert out == [(0, light, 7)]
    assert cable.take_orders() == [Order(OrderKind.UNIT, (light,))]
    cable.state(8)
    assert cable.take_orders() == [state]
    cable.follow()
    cable.lead(8)
    cable.restore(8)
    assert cable.take_orders() == [state, state]


def test_a_machine_that_has_missed_orders_is_told_what_lights_show() -> None:
    """Behind the state comes the last message of each light and display."""
    cable, out = _cable()
    for thing, message in (("lamp", b"\x90\x14\x7f"), ("text", b"\xf0\x7d\xf7"), ("lamp", b"\x80\x14\x00")):
        cable.tell(7, thing, message, out)
    cable.take_orders()
    cable.restore(8)
    assert [order.messages for order in cable.take_orders()[1:]] == [(b"\x80\x14\x00",), (b"\xf0\x7d\xf7",)]


def test_whole_bursts_are_ordered_and_the_answer_is_what_is_probably_sent() -> None:
    """What is on its sound already is ordered too, since the other machine decides; after an output was away, nothing
    counts as sent, also for an engine that takes over."""
    cable, out = _cable()
    step = BurstUnit(3, (bytes((0xC3, 5)),), 0)
    for expected in (1, 0):
        assert len(cable.burst(0, (step,), out)) == expected
    assert len(out) == 1
    assert [order.steps for order in cable.take_orders()] == [(step,)] * 2
    cable.forget_sounds()
    assert cable.sounds == {}
    assert len(cable.burst(0, (step,), out)) == 1


def test_the_time_on_the_far_cable_is_reckoned() -> None:
    """Ten notes keep a DIN cable busy for 30 bytes of 320 µs (MIDI 1.0 p. 1)."""
    cable, out = _cable()
    for _ in range(10):
        cable.put(0, (NOTE,), out)
    assert cable.carried_at == 30 * 320_000


def test_an_output_at_another_machine_has_a_remote_cable() -> None:
    """An output declared as remote gets a remote cable, and its scene's burst is sent as an order."""
    engine = engine_of(read(PORTS.replace("WIRE", "din") + SCENES, "test"), remote=("strings",))
    cable = engine.state.cables[engine.outputs.index("strings")]
    assert isinstance(cable, RemoteCable)
    cable.live = True
    recall(engine, 0, 1)
    assert [order.do for order in cable.take_orders()] == [OrderKind.BURST]


def test_going_on_from_a_moment_orders_what_was_sent_since() -> None:
    """A machine that takes over the show gets orders for the state at that moment, then every later order in
    sequence."""
    cable = RemoteCable(0, None)
    out: list[Delivery] = []
    cable.put(100, (b"\x90\x3c\x40",), out)
    cable.put(200, (b"\xb0\x07\x50",), out)
    cable.put(300, (b"\x90\x40\x40",), out)
    cable.burst(310, [BurstUnit(0, (b"\xc0\x05",), 0)], out)
    cable.put(320, (b"\x80\x40\x40",), out)
    cable.put(330, (b"\xf8",), out)
    cable.go_on_from(400, 250)
    state, *later = cable.take_orders()
    at_that_moment = ReceiverState()
    at_that_moment.note(100, b"\x90\x3c\x40")
    at_that_moment.note(200, b"\xb0\x07\x50")
    assert state == Order(OrderKind.STATE, (at_that_moment.snapshot(400),))
    assert [(order.do, order.messages) for order in later] == [
        (OrderKind.UNIT, (b"\x90\x40\x40",)),
        (OrderKind.BURST, ()),
        (OrderKind.UNIT, (b"\x80\x40\x40",)),
        (OrderKind.UNIT, (b"\xf8",)),
    ]
    cable.put(500, (b"\x80\x3c\x40",), out)
    assert [order.messages for order in cable.take_orders()] == [(b"\x80\x3c\x40",)]


def test_what_is_long_past_is_state_alone() -> None:
    """While it is not live, a cable keeps the messages of the last second; anything older is state alone."""
    cable = RemoteCable(0, None)
    out: list[Delivery] = []
    for second in range(10):
        cable.put(second * 1_000_000_000, (bytes((0x90, 60 + second, 64)),), out)
    cable.go_on_from(9_000_000_001, 0)
    assert len(cable.take_orders()) == 1 + 2
    cable.follow()
    cable.put(10_000_000_000, (b"\x80\x3c\x40",), out)
    cable.go_on_from(10_000_000_001, 9_500_000_000)
    state, later = cable.take_orders()
    assert state.messages[0].count(b"\x03\x90") == 10
    assert later.messages == (b"\x80\x3c\x40",)
