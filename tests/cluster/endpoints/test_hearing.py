"""What machines say badly is counted, reported once, and ignored. (Our own design; no outside source.)"""

import json
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from engine.cluster.endpoints.hearing import Hearing
from engine.cluster.link.wire_format import OrderSender, pack_give
from engine.cluster.pure.leadership import Ask, Follow, Lead, Leadership, LeadershipLost
from engine.cluster.pure.output_lender import ClaimRefused
from engine.cluster.pure.words import (
    LARGEST,
    Lease,
    Report,
    ShowPlace,
    ShowWord,
    TimeWord,
    pack,
    read_answer,
    read_word,
)
from engine.core.cable.remote_cable import Order, OrderKind
from tests.support.fake_link import FakeNet
from tests.support.lending_world import BOX, OFF, ON, Box, Engine

S = 1_000_000_000

NO_LEASES = [
    b"",
    b"[]",
    b"{}",
    b"null",
    b"\xff\xfe",
    b'{"epoch": "7", "holder": null, "given_to": null}',
    b'{"epoch": -1, "holder": null, "given_to": null}',
    b'{"epoch": 1e99, "holder": null, "given_to": null}',
    b'{"epoch": true, "holder": null, "given_to": null}',
    b'{"epoch": 18446744073709551616, "holder": null, "given_to": null}',
    b'{"epoch": 7, "holder": 3, "given_to": null}',
    b'{"epoch": 7, "holder": "nobody", "given_to": null}',
    b'{"epoch": 7, "holder": "stage-left", "given_to": null}',
    b'{"epoch": 7, "holder": null, "given_to": "nobody"}',
    b'{"epoch": 7, "holder": null, "given_to": null, "incomplete": {}}',
    b'{"epoch": 7, "holder": null, "given_to": null, "incomplete": [1]}',
    b"[" * 100_000,
    b'{"epoch": 7, "holder": null, "given_to": null}' + b" " * LARGEST,
]
NO_REPORTS = [
    b"[]",
    b'{"inputs": []}',
    b'{"outputs": {"strings": []}}',
    b'{"outputs": {"strings": {"longest": -5}}}',
    b'{"outputs": {"strings": {"longest": "all"}}}',
    b'{"outputs": {"strings": {"load": NaN}}}',
    b'{"inputs": {"keys": {"shed": 1.5}}}',
    b'{"faults": {"garbled": -1}}',
]


@pytest.fixture
def net() -> FakeNet:
    return FakeNet()


@pytest.mark.parametrize("payload", NO_LEASES, ids=range(len(NO_LEASES)))
def test_a_lease_that_makes_no_sense_is_ignored(net: FakeNet, payload: bytes) -> None:
    """The last one that made sense counts; it is reported once, however often it comes, until one makes sense."""
    desk, box = Engine(net, "desk"), Box(net)
    box.turn()
    before = desk.far.leases[BOX]
    for _ in range(200):
        box.link.keep(box.keys.lease(BOX), payload)
    assert (desk.far.leases[BOX], desk.far.hearing.garbled(BOX), len(desk.far.hearing.news)) == (before, 200, 1)
    assert desk.far.hearing.problems() == [*desk.far.hearing.news]
    box.link.keep(box.keys.lease(BOX), pack(Lease(epoch=9, holder=None, given_to=None)))
    assert (desk.far.leases[BOX].epoch, desk.far.hearing.problems()) == (9, [])


@pytest.mark.parametrize("payload", NO_REPORTS, ids=range(len(NO_REPORTS)))
def test_a_report_that_makes_no_sense_is_ignored(net: FakeNet, payload: bytes) -> None:
    """It is not kept, so that opening an output later does not fail, either."""
    desk, box = Engine(net, "desk"), Box(net)
    box.turn()
    box.link.hint(box.keys.meter(BOX), payload)
    desk.claim()
    desk.open()
    assert (desk.port.longest, desk.far.reports, desk.far.hearing.garbled(BOX)) == (None, {}, 1)


@pytest.mark.parametrize("payload", [b"[]", b'{"epoch": "1"}', b'{"epoch": -1}', b'{"holder": "nobody"}', b"{}"])
def test_an_answer_that_makes_no_sense_is_none(net: FakeNet, payload: bytes) -> None:
    """A claim that is answered with it counts as not answered."""
    desk, box = Engine(net, "desk"), Box(net)
    box.link.answer(box.keys.claim(BOX), lambda question: payload)
    assert desk.far.claim(BOX) is None
    assert desk.far.hearing.garbled(BOX) == 1


def test_tokens_of_machines_that_are_not_in_the_rig_are_ignored(net: FakeNet) -> None:
    """On a plain network anyone can show a token; it costs no memory here."""
    desk = Engine(net, "desk")
    stranger = net.link("stranger")
    for number in range(1000):
        stranger.alive(desk.keys.alive(f"stranger-{number}"))
    assert desk.far.alive == set()


def test_the_ports_of_a_machine_are_bounded(net: FakeNet) -> None:
    """A machine that shows ports without end costs no memory without end."""
    desk, box = Engine(net, "desk"), Box(net)
    for number in range(11_000):
        box.link.alive(box.keys.plugged(BOX, "in", f"port {number}"))
    assert len(desk.far._plugged) == 10_000


@pytest.mark.parametrize("claim", [b"", b"[]", b'{"who": 1}', b'{"who": "stage-left"}', b'{"who": "nobody"}'])
def test_a_claim_that_makes_no_sense_is_not_answered(net: FakeNet, claim: bytes) -> None:
    """The outputs stay where they are, and it is counted and reported."""
    box = Box(net)
    asker = net.link("spare")
    assert asker.ask(box.keys.claim(BOX), claim) == []
    assert (box.gate.holder, box.gate.garbled, len(box.gate.hearing.news)) == (None, 1, 1)


def test_orders_that_make_no_sense_are_not_begun(net: FakeNet) -> None:
    """An order whose second half makes no sense is not carried out by half: what follows is numbered and played."""
    desk, box = Engine(net, "desk"), Box(net)
    desk.claim()
    desk.open()
    box.turn()
    epoch = box.lender.epoch
    bad_state = Order(OrderKind.STATE, (b"\x01\x00\x02\x90\x3c",))
    payloads = [payload for payload, _ in OrderSender(epoch).packs([Order(OrderKind.UNIT, (ON,)), bad_state])]
    payloads += [b"\x07nonsense", pack_give(epoch, "nobody"), pack_give(epoch, "stage-left")]
    for payload in payloads:
        desk.link.publish(desk.keys.output(BOX, "strings"), payload)
    assert box.turn() == []
    assert (box.gate.garbled, box.lender.given_to) == (4, None)
    desk.play(ON)
    desk.play(OFF)
    assert box.turn() == [ON, OFF]


FIELDS = sorted({field for model in (Lease, Report, ShowWord, TimeWord, ShowPlace) for field in model.model_fields})
WORDS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(FIELDS), inner),
)


@given(WORDS.map(lambda word: json.dumps(word).encode()) | st.binary(max_size=60))
def test_any_word_is_read_or_refused(payload: bytes) -> None:
    """Whatever a machine says, nothing but ValueError comes of it; what is read can be said again."""
    hearing = Hearing()
    for model in (Lease, Report, ShowWord, TimeWord):
        word = hearing.read("left", "word", partial(read_word, model), payload)
        assert word is None or read_word(model, pack(word)) == word
    answer = hearing.read("left", "answer", read_answer, payload)
    assert answer is None or isinstance(answer, ClaimRefused) or answer.epoch >= 0
    assert len(hearing.news) <= 2


def test_nonsense_with_sense_in_between_is_reported_once_a_minute() -> None:
    """A machine that errs every other time does not fill the player's window."""
    now = 0
    hearing = Hearing(lambda: now)
    for _ in range(6000):
        now += S // 50
        hearing.read("left", "lease", partial(read_word, Lease), b"[]")
        hearing.read("left", "lease", partial(read_word, Lease), b'{"epoch": 1, "holder": null, "given_to": null}')
    assert (hearing.garbled("left"), len(hearing.news)) == (6000, 2)


# Who leads


def _in_charge(*owners: str) -> Leadership:
    charge = Leadership(0, "desk", "desk", "spare", owners)
    charge.alive(0, True)
    assert charge.due is not None
    assert Lead() in charge.tick(charge.due)
    for owner in owners:
        charge.granted(S, owner, 9)
    return charge


def test_a_lease_in_the_other_engine_s_name_does_not_move_the_show() -> None:
    """While the other engine is there, only its own word makes this one step down, whatever an owner says."""
    charge = _in_charge("left")
    term, asked = charge.term, 0
    for step in range(6000):
        now = S + step * S // 1000
        acts = charge.leased(now, "left", 10 + step, ("spare", "desk", None)[step % 3]) + charge.tick(now)
        questions = [act for act in acts if isinstance(act, Ask)]
        for _ in questions:
            acts += charge.granted(now, "left", 10 + step)
        asked += len(questions)
        assert not any(isinstance(act, Follow) for act in acts)
    assert (charge.in_charge, charge.term) == (True, term)
    assert 8 < asked <= 8 + 6 * 20
    assert charge.word(8 * S, term + 1, "spare")[0] == Follow("spare")


def test_an_owner_that_errs_loses_its_own_outputs_only() -> None:
    """With the outputs of another owner ours, a lease of the engine that is out of sight costs one owner's outputs."""
    charge = _in_charge("left", "right")
    charge.alive(S, False)
    assert charge.leased(2 * S, "left", 12, "spare") == [LeadershipLost("left"), Ask("left")]
    assert charge.refused(2 * S, "left", "spare") == []
    assert charge.in_charge
    assert charge.epoch("right") == 9
    charge.owner_there(3 * S, "right", False)
    assert charge.refused(3 * S, "left", "spare") == [Follow("spare")]


def test_a_word_full_of_mistakes_costs_little() -> None:
    """A list ends with its first mistake, and thousands of mistakes elsewhere are counted and not written down."""
    lease = {"epoch": 1, "holder": None, "given_to": None, "incomplete": [1] * 20_000}
    with pytest.raises(ValidationError) as fault:
        Lease.model_validate_json(json.dumps(lease))
    assert fault.value.error_count() == 1
    with pytest.raises(ValueError, match="5,000 values in it are wrong"):
        read_word(Report, json.dumps({"outputs": {f"{number}": 1 for number in range(5_000)}}).encode())
