"""Ports of other machines: how an engine sees them, and which engine may play. (Our own design; no outside source.)"""

import json
import time

import pytest

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.endpoints.remote_ports import RemoteInput
from engine.cluster.link.wire_format import EventSender
from engine.cluster.pure.output_lender import GRACE, ClaimRefused
from engine.core.cable.output_cable import BurstUnit
from engine.ports.port import PortError, PortGone
from tests.support.counted_work import lines_run
from tests.support.fake_link import FakeNet
from tests.support.lending_world import BOX, OFF, ON, Box, Engine


@pytest.fixture
def net() -> FakeNet:
    return FakeNet()


def _playing(net: FakeNet) -> tuple[Engine, Box]:
    """An engine that plays an output of the box."""
    box, desk = Box(net), Engine(net, "desk")
    desk.claim()
    desk.open()
    return desk, box


def test_what_is_sent_is_played_there(net: FakeNet) -> None:
    """Messages of one turn are sent together, in order, and played by the machine that has the cable."""
    desk, box = _playing(net)
    box.turn()
    puts = net.sent[desk.keys.output(BOX, "strings")]
    desk.play(ON, OFF)
    assert box.turn() == [ON, OFF]
    assert net.sent[desk.keys.output(BOX, "strings")] == puts + 1


def test_a_burst_goes_over_with_its_settle_time(net: FakeNet) -> None:
    """A burst is one order, so that the machine with the cable holds the channel while the instrument settles."""
    desk, box = _playing(net)
    desk.cable.burst(0, (BurstUnit(0, (bytes((0xC0, 5)),), 30_000_000),), [])
    desk.play(ON)
    assert box.turn() == [bytes((0xC0, 5))]
    box.now = 30_000_000
    assert box.turn() == [ON]


def test_only_who_was_let_play_opens_an_output(net: FakeNet) -> None:
    """A leader without a grant counts the output as missing, and says why."""
    Box(net)
    desk = Engine(net, "desk")
    with pytest.raises(PortError, match="stage-left has not let us play yet"):
        desk.open()


def test_what_is_not_there_is_missing(net: FakeNet) -> None:
    """A machine that is away, or a port that is not plugged in there, is reported as missing."""
    desk = Engine(net, "desk")
    with pytest.raises(PortError, match="stage-left is not there"):
        desk.far.input("keys", desk.rig.inputs["keys"])
    box = Box(net)
    box.link.gone(box.keys.plugged(BOX, "in", "keys"))
    with pytest.raises(PortError, match="not plugged in at stage-left"):
        desk.far.input("keys", desk.rig.inputs["keys"])


def test_a_cable_that_is_cut_silences_the_outputs_and_loses_the_ports(net: FakeNet) -> None:
    """The machine releases its notes by itself; the engine loses its ports and can open them again afterwards."""
    desk, box = _playing(net)
    desk.play(ON)
    box.turn()
    net.cut("desk")
    assert box.turn() == [OFF]
    with pytest.raises(PortGone, match="is gone"):
        desk.port.check()
    net.mend("desk")
    desk.claim()
    desk.open()
    desk.play(ON)
    assert box.turn()[-1:] == [ON]


def test_a_note_whose_release_was_missed_is_released_by_the_state(net: FakeNet) -> None:
    """A note that the engine released while it was cut off ends with its state, as soon as it plays again."""
    desk, box = _playing(net)
    desk.play(ON)
    box.turn()
    desk.cable.live = False
    desk.cable.put(0, (OFF,), [])
    desk.claim()
    desk.port.flush(0)
    assert box.turn() == [OFF]


def test_a_standby_takes_over_and_the_old_engine_is_fenced(net: FakeNet) -> None:
    """The owner refuses while the holder is alive, grants once it is gone, and then plays nothing of the old holder."""
    desk, box = _playing(net)
    spare = Engine(net, "spare")
    spare.far.follow()
    spare.open()
    assert spare.far.claim(BOX) == ClaimRefused("desk")
    desk.play(ON)
    spare.play(ON)
    assert box.turn() == [ON]
    desk.link.gone(desk.keys.alive("desk"))  # its loop is stuck
    spare.far.leading = True
    spare.claim()
    spare.port.flush(0)
    assert box.turn() == []  # the note that both hold sounds on
    desk.play(OFF)
    assert box.turn() == []
    assert box.lender.fenced == 1
    spare.play(OFF)
    assert box.turn() == [OFF]
    assert desk.far.leases[BOX].holder == "spare"


def test_a_hand_over_loses_nothing_that_was_flushed_before(net: FakeNet) -> None:
    """What the holder ordered before giving its outputs away is played before the other's claim is granted."""
    desk, box = _playing(net)
    spare = Engine(net, "spare")
    desk.play(ON)
    desk.far.give(BOX, box.lender.epoch, "spare")
    spare.claim()
    assert box.turn() == [ON]


def test_nobody_else_gives_away(net: FakeNet) -> None:
    """An engine that does not hold the outputs cannot give them away."""
    desk, box = _playing(net)
    spare = Engine(net, "spare")
    spare.far.give(BOX, box.lender.epoch - 1, "spare")
    assert spare.far.claim(BOX) == ClaimRefused("desk")
    assert desk.port.gone is None


def test_orders_that_never_came_are_made_good(net: FakeNet, monkeypatch: pytest.MonkeyPatch) -> None:
    """A gap in the orders is reported with the lease, and the engine answers with the state that should sound."""
    desk, box = _playing(net)
    desk.play(ON)
    assert box.turn() == [ON]
    with monkeypatch.context() as losing:
        losing.setattr(desk.link, "publish", lambda *put: None)
        desk.play(OFF)
    desk.play(bytes((0xB0, 7, 100)))
    box.turn()
    assert box.lender.lost == 1
    desk.port.flush(0)
    assert box.turn() == [OFF]


def test_garbled_orders_are_counted_and_cost_nothing_else(net: FakeNet) -> None:
    """Bytes that are not orders are skipped and counted; what follows is played."""
    desk, box = _playing(net)
    desk.link.publish(desk.keys.output(BOX, "strings"), b"\x07nonsense")
    desk.play(ON)
    assert box.turn()[-1:] == [ON]
    assert box.gate.garbled == 1


def test_an_output_whose_orders_cannot_be_sent_counts_as_pulled(net: FakeNet, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was lost may be a release: it is opened again, and gets the whole state."""
    desk, _ = _playing(net)
    with monkeypatch.context() as failing:
        failing.setattr(desk.link, "publish", None)
        with pytest.raises(TypeError):
            desk.play(ON)
    with pytest.raises(PortGone, match="could not be sent"):
        desk.port.check()


def test_a_holder_that_was_never_seen_is_gone_after_a_while(net: FakeNet) -> None:
    """An engine that claims and dies before its token arrives does not hold the outputs for ever."""
    box, desk = Box(net), Engine(net, "desk")
    desk.link.gone(desk.keys.alive("desk"))
    desk.claim()
    for _ in range(5):
        box.gate.look()
    box.now += GRACE
    box.turn()
    assert box.gate.holder is None


# Inputs


def _hears(net: FakeNet) -> tuple[RemoteMachines, RemoteInput, Box, EventSender]:
    box, desk = Box(net), Engine(net, "desk")
    return desk.far, desk.far.input("keys", desk.rig.inputs["keys"]), box, EventSender(9)


def _put(box: Box, sender: EventSender, *messages: bytes, lose: bool = False) -> None:
    for payload, bulk in sender.packs([(at, message) for at, message in enumerate(messages)]):
        if not lose:
            box.link.publish(box.keys.input(BOX, "keys"), payload, bulk)


def test_what_is_played_there_arrives_with_its_time(net: FakeNet) -> None:
    """Events carry the time of arrival at their own machine, converted to this machine's clock."""
    far, source, box, sender = _hears(net)
    now = time.monotonic_ns()
    far.to_here = lambda machine, at: now - 1000 + at
    taken: list[tuple[int, bytes]] = []
    source.hand_to(taken.extend)
    _put(box, sender, ON, OFF)
    assert source.poll() == []
    assert taken == [(now - 1000, ON), (now - 999, OFF)]


def test_a_gap_counts_as_a_pulled_cable(net: FakeNet) -> None:
    """A lost message may have been a release: all that arrived is delivered, then the port is gone."""
    _, source, box, sender = _hears(net)
    _put(box, sender, ON)
    _put(box, sender, OFF, lose=True)
    _put(box, sender, ON)
    assert source.poll() == [ON, ON]
    assert source.stream.repairs == 1
    with pytest.raises(PortGone, match="lost on the way"):
        source.poll()


def test_what_was_heard_is_not_heard_again(net: FakeNet) -> None:
    """A put that arrives twice is played once."""
    _, source, box, sender = _hears(net)
    ((payload, _),) = sender.packs([(0, ON)])
    for _ in range(2):
        box.link.publish(box.keys.input(BOX, "keys"), payload)
    assert source.poll() == [ON]


def test_a_machine_that_started_again_counts_from_its_own_beginning(net: FakeNet) -> None:
    """The start of a new stream does not count as a gap."""
    _, source, box, sender = _hears(net)
    _put(box, sender, ON, OFF)
    _put(box, EventSender(10), ON)
    assert source.poll() == [ON, OFF, ON]


def test_what_arrived_before_the_cable_was_cut_is_heard(net: FakeNet) -> None:
    """Messages that arrived before the cut are delivered before the port is gone."""
    _, source, box, sender = _hears(net)
    _put(box, sender, ON)
    net.cut(BOX)
    assert source.poll() == [ON]
    with pytest.raises(PortGone):
        source.poll()


def test_what_the_other_machine_counts_is_reported(net: FakeNet) -> None:
    """The longest message its driver takes, and what it dropped, are known here as for an output of our own."""
    desk, box = _playing(net)
    counted = {"shed": 3, "replaced": 2, "longest": 4096}
    box.link.hint(box.keys.meter(BOX), json.dumps({"inputs": {}, "outputs": {"strings": counted}}).encode())
    assert desk.port.longest == 4096
    assert (desk.cable.counts.shed, desk.cable.counts.replaced) == (3, 2)
    desk.open()
    assert desk.port.longest == 4096


def test_a_port_that_flickers_wakes_nobody_and_costs_the_same_among_many(net: FakeNet) -> None:
    """A machine can show and withdraw a port without end: the loop must not take a turn for each."""
    desk, box = _playing(net)
    woken: list[int] = []
    desk.far.news = lambda: woken.append(1)
    token = desk.keys.plugged(BOX, "out", "strings")

    def flicker() -> None:
        box.link.gone(token)
        box.link.alive(token)

    steps = lines_run(flicker)
    assert desk.output is not None
    assert desk.output.gone == "strings at stage-left is gone"
    assert woken == []
    for number in range(200):
        box.link.alive(desk.keys.plugged(BOX, "in", f"pad {number}"))
        desk.far.input(f"pad {number}", desk.rig.inputs["keys"])
    assert lines_run(flicker) < steps + 20
