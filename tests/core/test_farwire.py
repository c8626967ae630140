"""An output at another machine: what leaves is what a show has sent, at once, and as orders."""

from pit import PORTS, SCENES

from engine.core.cable.receiver_state import Sounding
from engine.core.cable.remote_cable import Do, FarWire, Order
from engine.core.cable.scheduler import DIN, Delivery, Step
from engine.core.engine import Bay
from engine.rig.read.load import read

NOTE = bytes((0x90, 60, 100))


def _wire(live: bool = True) -> tuple[FarWire, list[Delivery]]:
    wire = FarWire(0, DIN)
    wire.live = live
    return wire, []


def test_nothing_waits() -> None:
    """However much is sent, all of it leaves at once, and nothing is due."""
    wire, out = _wire()
    for _ in range(500):
        wire.put(7, (NOTE,), out)
    assert out == [(0, NOTE, 7)] * 500
    assert (wire.due, wire.full, wire.straight) == (None, False, False)


def test_each_call_leaves_its_order() -> None:
    """Units, bursts and panics are ordered as such, so that the machine with the cable can queue them as it would."""
    wire, out = _wire()
    step = Step(3, (bytes((0xC3, 5)),), 30)
    wire.put(0, (NOTE,), out)
    wire.burst(0, (step,), out)
    wire.panic(0, (bytes((0xB0, 123, 0)),), out)
    assert wire.take_orders() == [
        Order(Do.UNIT, (NOTE,)),
        Order(Do.BURST, steps=(step,)),
        Order(Do.PANIC, (bytes((0xB0, 123, 0)),)),
    ]
    assert wire.take_orders() == []


def test_a_follower_keeps_what_sounds_and_orders_nothing() -> None:
    """A wire that is not live orders nothing, but knows what would sound."""
    wire, out = _wire(live=False)
    wire.put(0, (NOTE,), out)
    assert wire.take_orders() == []
    assert wire.sounding.held == 1


def test_the_time_on_the_far_cable_is_reckoned() -> None:
    """Ten notes keep a DIN cable busy for 30 bytes of 320 µs (MIDI 1.0 p. 1)."""
    wire, out = _wire()
    for _ in range(10):
        wire.put(0, (NOTE,), out)
    assert wire.carried_at == 30 * 320_000


def test_the_bay_makes_far_wires_where_it_is_told() -> None:
    """An output that is named as far gets a far wire, and its scene's burst is ordered."""
    bay = Bay(read(PORTS.replace("WIRE", "din") + SCENES, "test"), far=("strings",))
    wire = bay.wires[bay.outputs.index("strings")]
    assert isinstance(wire, FarWire)
    wire.live = True
    bay.recall(0, 1)
    assert [order.do for order in wire.take_orders()] == [Do.BURST]


def test_going_on_from_a_moment_orders_what_was_sent_since() -> None:
    """Who is handed the show orders the state of that moment, and then everything that came later, as it came."""
    wire = FarWire(0, None)
    out: list[Delivery] = []
    wire.put(100, (b"\x90\x3c\x40",), out)
    wire.put(200, (b"\xb0\x07\x50",), out)
    wire.put(300, (b"\x90\x40\x40",), out)
    wire.burst(310, [Step(0, (b"\xc0\x05",), 0)], out)
    wire.put(320, (b"\x80\x40\x40",), out)
    wire.put(330, (b"\xf8",), out)
    wire.go_on_from(400, 250)
    state, *later = wire.take_orders()
    at_that_moment = Sounding()
    at_that_moment.note(100, b"\x90\x3c\x40")
    at_that_moment.note(200, b"\xb0\x07\x50")
    assert state == Order(Do.STATE, (at_that_moment.snapshot(400),))
    assert [(order.do, order.messages) for order in later] == [
        (Do.UNIT, (b"\x90\x40\x40",)),
        (Do.BURST, ()),
        (Do.UNIT, (b"\x80\x40\x40",)),
        (Do.UNIT, (b"\xf8",)),
    ]
    wire.put(500, (b"\x80\x3c\x40",), out)
    assert [order.messages for order in wire.take_orders()] == [(b"\x80\x3c\x40",)]


def test_what_is_long_past_is_state_alone() -> None:
    """A wire that is not heard remembers a second, however long it is not heard; and begins anew when it is not."""
    wire = FarWire(0, None)
    out: list[Delivery] = []
    for second in range(10):
        wire.put(second * 1_000_000_000, (bytes((0x90, 60 + second, 64)),), out)
    wire.go_on_from(9_000_000_001, 0)
    assert len(wire.take_orders()) == 1 + 2
    wire.follow()
    wire.put(10_000_000_000, (b"\x80\x3c\x40",), out)
    wire.go_on_from(10_000_000_001, 9_500_000_000)
    state, later = wire.take_orders()
    assert state.messages[0].count(b"\x03\x90") == 10
    assert later.messages == (b"\x80\x3c\x40",)
