"""A machine that lends its outputs: one engine plays at a time, and when none is left, all is silent."""

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.cluster.link.wire_format import OrderSender, read_orders
from engine.cluster.pure.output_lender import GRACE, ClaimRefused, Grant, OutputLender
from engine.core.cable.kept_unit import KeptUnit
from engine.core.cable.output_cable import BurstUnit, Delivery, again
from engine.core.cable.program_burst import select
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind, RemoteCable
from engine.core.cable.speed import DIN
from tests.support.receiver import Receiver

ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))
PEDAL = bytes((0xB0, 64, 127))
BOTH = {"desk", "spare"}


def _lender() -> OutputLender:
    return OutputLender({"strings": None, "brass": None}, started=1000)


def _claim(lender: OutputLender, who: str, alive: set[str] = BOTH) -> int:
    answer = lender.claim(who, alive)
    assert isinstance(answer, Grant)
    return answer.epoch


def _unit(*messages: bytes) -> Order:
    return Order(OrderKind.UNIT, messages)


def _messages(deliveries: list[Delivery]) -> list[bytes]:
    return [message for _, message, _ in deliveries]


def test_who_comes_first_plays() -> None:
    """Free outputs are granted; held outputs are refused as long as their holder is alive."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    assert epoch > 1000
    assert lender.claim("spare", BOTH) == ClaimRefused("desk")
    assert _messages(lender.take(0, epoch, "strings", 0, [_unit(ON)])) == [ON]


def test_orders_of_another_epoch_are_left_undone() -> None:
    """An engine that was replaced without noticing plays nothing, however long it continues."""
    lender = _lender()
    old = _claim(lender, "desk")
    new = _claim(lender, "spare", {"spare"})
    assert lender.take(0, old, "strings", 0, [_unit(ON)]) == []
    assert lender.fenced == 1
    assert _messages(lender.take(0, new, "strings", 0, [_unit(ON)])) == [ON]


def test_what_the_holder_gives_away_the_other_may_claim() -> None:
    """In a hand-over only the named engine may claim, and only the holder's present epoch can give."""
    lender, give = _lender(), Order(OrderKind.GIVE, (b"spare",))
    epoch = _claim(lender, "desk")
    lender.take(0, epoch - 1, "strings", None, [give])
    assert lender.claim("spare", BOTH) == ClaimRefused("desk")
    lender.take(0, epoch, "strings", None, [give])
    assert lender.claim("third", {*BOTH, "third"}) == ClaimRefused("desk")
    assert _claim(lender, "spare") > epoch


def test_outputs_fall_silent_at_once_when_their_only_engine_is_gone() -> None:
    """The machine itself releases the last note and the pedal, and the old epoch is over."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.take(0, epoch, "strings", 0, [_unit(ON), _unit(PEDAL)])
    lender.holder_gone(5, another=False)
    assert lender.due == 5
    assert _messages(lender.tick(5)) == [OFF, bytes((0xB0, 64, 0))]
    assert lender.holder is None
    assert lender.take(6, epoch, "strings", 2, [_unit(ON)]) == []


def test_outputs_wait_for_another_engine() -> None:
    """While another engine is alive, notes sound on for the grace period; a grant in time keeps them sounding."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.take(0, epoch, "strings", 0, [_unit(ON)])
    lender.holder_gone(0, another=True)
    assert lender.tick(GRACE - 1) == []
    _claim(lender, "spare", {"spare"})
    assert lender.tick(2 * GRACE) == []


def test_a_holder_that_is_back_plays_on() -> None:
    """A token that was away for less than the grace period changes nothing."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.holder_gone(0, another=True)
    lender.holder_back()
    assert lender.tick(2 * GRACE) == []
    assert _messages(lender.take(2 * GRACE, epoch, "strings", 0, [_unit(ON)])) == [ON]


def test_a_note_that_both_engines_hold_rings_on() -> None:
    """The next holder's state releases the notes it does not hold and keeps those it does."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    other = bytes((0x91, 72, 90))
    lender.take(0, epoch, "strings", 0, [_unit(ON), _unit(other)])
    state = ReceiverState()
    state.note(0, ON)
    epoch = _claim(lender, "spare", {"spare"})
    sent = lender.take(0, epoch, "strings", 0, [Order(OrderKind.STATE, (state.snapshot(0),))])
    assert _messages(sent) == [bytes((0x81, 72, 64))]


def test_what_still_waits_on_the_cable_is_reckoned_with() -> None:
    """A note of the last holder that still waits on a slow cable is released by the next holder's state, too."""
    lender = OutputLender({"strings": DIN}, started=0)
    epoch = _claim(lender, "desk")
    notes = [_unit(bytes((0x90, key, 100))) for key in range(40, 60)]
    sent = lender.take(0, epoch, "strings", 0, notes)
    assert len(sent) < len(notes)
    epoch = _claim(lender, "spare", {"spare"})
    sent += lender.take(1, epoch, "strings", 0, [Order(OrderKind.STATE, (ReceiverState().snapshot(0),))])
    assert _heard(sent + _run_dry(lender)).held == 0


def test_missing_orders_are_noticed() -> None:
    """A gap in the order numbers is counted, and the output is marked for repair."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.take(0, epoch, "strings", 0, [_unit(ON)])
    lender.take(0, epoch, "strings", 3, [_unit(OFF)])
    assert (lender.lost, lender.incomplete) == (2, {"strings"})


def test_a_long_message_is_not_numbered() -> None:
    """A message sent alone, so that notes may overtake it, has no number and leaves no gap."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.take(0, epoch, "strings", None, [_unit(ON)])
    lender.take(0, epoch, "strings", 0, [_unit(OFF)])
    assert lender.incomplete == set()


def test_a_pulled_cable_is_cleared_up_when_it_is_back() -> None:
    """The note that sounded when the cable was pulled is released first; orders meanwhile are dropped."""
    lender = _lender()
    epoch = _claim(lender, "desk")
    lender.take(0, epoch, "strings", 0, [_unit(ON)])
    lender.pulled("strings")
    assert lender.take(1, epoch, "strings", 1, [_unit(PEDAL)]) == []
    assert _messages(lender.plugged(2, "strings", None)) == [OFF]


def test_a_burst_is_paced_where_the_cable_is() -> None:
    """A burst step holds its channel until the instrument has settled, as in a show on one machine."""
    lender = OutputLender({"strings": DIN}, started=0)
    epoch = _claim(lender, "desk")
    step = BurstUnit(0, (bytes((0xC0, 5)),), 30_000_000)
    sent = lender.take(0, epoch, "strings", 0, [Order(OrderKind.BURST, steps=(step,)), _unit(ON)])
    assert _messages(sent) == [bytes((0xC0, 5))]
    sent = _run_dry(lender)
    assert _messages(sent) == [ON]
    assert sent[0][2] >= 30_000_000


def test_a_position_is_set_before_the_notes_that_come_later() -> None:
    """On a busy cable a value that keeps its place leaves before the note behind it, as in a show on one machine; a
    fader's values may leave after it."""
    volume = bytes((0xB0, 7, 90))
    for unit, expected in ((KeptUnit((volume,)), [volume, ON]), ((volume,), [ON, volume])):
        lender, cable = OutputLender({"strings": DIN}, started=0), RemoteCable(0, DIN)
        epoch = _claim(lender, "desk")
        cable.live = True
        for each in ((OFF,) * 20, unit, (ON,)):
            cable.put(0, each, [])
        ((payload, _),) = OrderSender(epoch).packs(cable.take_orders())
        sent = lender.take(0, epoch, "strings", 0, read_orders(payload).orders)
        assert _messages(sent + _run_dry(lender))[20:] == expected


def _run_dry(lender: OutputLender) -> list[Delivery]:
    sent: list[Delivery] = []
    while (due := lender.due) is not None:
        sent += lender.tick(due)
    return sent


def _heard(sent: list[Delivery]) -> Receiver:
    receiver = Receiver()
    for _, message, _ in sent:
        receiver.hear(message)
    return receiver


_played = st.lists(
    st.one_of(
        st.builds(lambda key: bytes((0x90, key, 100)), st.integers(60, 64)),
        st.builds(lambda key: bytes((0x80, key, 64)), st.integers(60, 64)),
        st.builds(lambda value: bytes((0xB0, 64, value)), st.sampled_from((0, 127))),
        st.builds(lambda value: bytes((0xE0, 0, value)), st.integers(0, 127)),
    ),
    max_size=30,
)


@given(_played, st.integers(0, 30), st.booleans())
def test_a_takeover_at_any_moment_leaves_nothing_hanging(music: list[bytes], cut: int, paced: bool) -> None:
    """Two engines route the same music; the first dies at any point, the second continues, and at the end all is at
    rest.

    What the music itself leaves held is released at the end, as a show does."""
    lender = OutputLender({"strings": DIN if paced else None}, started=0)
    cables = [RemoteCable(0, None) for _ in range(2)]
    sent: list[Delivery] = []
    epoch = _claim(lender, "desk")
    cables[0].live = True
    first = 0
    now = 0
    for place, message in enumerate([*music, *_ending(music)]):
        now += 1_000_000
        for cable in cables:
            cable.put(now, (message,), [])
        if place == cut:  # the engine dies with this message on its way
            cables[0].live, first = False, 0
            epoch = _claim(lender, "spare", {"spare"})
            cables[1].state(now)
            cables[1].live = True
        orders = [order for cable in cables for order in cable.take_orders() if cable.live]
        sent += lender.take(now, epoch, "strings", first, orders)
        first += len(orders)
        sent += lender.tick(now)
    sent += _run_dry(lender)
    assert lender.fenced == 0
    assert lender.incomplete == set()
    receiver = _heard(sent)
    assert receiver.held == 0
    assert receiver.off_rest == set()


@st.composite
def _steps(draw: st.DrawFn) -> tuple[BurstUnit, ...]:
    channels = draw(st.lists(st.integers(0, 2), max_size=3, unique=True))
    return tuple(
        BurstUnit(
            channel, select(channel, (100, 100), draw(st.integers(100, 101))), draw(st.sampled_from([0, 20_000_000]))
        )
        for channel in channels
    )


_shows = st.lists(
    st.one_of(
        _steps(),
        _steps(),
        st.integers(0, 2).map(lambda channel: bytes((0xC0 | channel, 5))),
        st.sampled_from(["resend", "takeover", "pull", "plug in", "chord", "rest"]),
        st.sampled_from([0, 1, 3, 30]),
    ),
    max_size=40,
)


class _Lending:
    """A lender with a paced output, and two engines that route the same show to it; one of them plays."""

    def __init__(self) -> None:
        self.lender = OutputLender({"strings": DIN}, started=0)
        self.cables = [RemoteCable(0, DIN), RemoteCable(0, DIN)]
        self.epoch, self.first, self.now, self.there = 0, 0, 0, True
        self.steps: tuple[BurstUnit, ...] = ()
        self.played: set[int] = set()
        self.receiver = Receiver()
        self.takeover()

    def takeover(self) -> None:
        self.cables[0].follow()
        self.cables.reverse()
        self.epoch, self.first = _claim(self.lender, f"engine {self.epoch}", set()), 0
        self.cables[0].lead(self.now)
        self.hand_over()

    def hand_over(self) -> None:
        orders = self.cables[0].take_orders()
        self.hear(self.lender.take(self.now, self.epoch, "strings", self.first, orders))
        self.first += len(orders)

    def hear(self, sent: list[Delivery]) -> None:
        for _, message, _ in sent if self.there else ():
            self.receiver.hear(message)

    def burst(self, steps: tuple[BurstUnit, ...]) -> None:
        for cable in self.cables:
            cable.burst(self.now, steps, [])
        self.hand_over()

    def put(self, message: bytes) -> None:
        for cable in self.cables:
            (cable.select if message[0] < 0xD0 and message[0] >= 0xC0 else cable.put)(self.now, (message,), [])
        self.hand_over()

    def wait(self, until: int) -> None:
        while (due := self.lender.due) is not None and due <= until:
            self.now = max(self.now, due)
            self.hear(self.lender.tick(self.now))
        self.now = max(self.now, until)

    def rest(self) -> None:
        while (due := self.lender.due) is not None:
            self.wait(due)
        for step in self.steps if self.there else ():
            if step.channel not in self.played:
                assert self.receiver.sound[step.channel] == (100, 100, step.unit[-1][1])

    def plug_in(self) -> None:
        """The machine releases what sounded; the engine in charge sends what there is."""
        self.there, self.receiver = True, Receiver()
        self.hear(self.lender.plugged(self.now, "strings", DIN))
        for cable in self.cables:
            cable.forget_sounds()
        self.burst(again(self.steps))

    def perform(self, event: object) -> None:
        match event:
            case tuple():
                self.steps = event
                self.played.clear()
                self.burst(event)
            case bytes():
                self.played.add(event[0] & 0x0F)
                self.put(event)
            case int():
                self.wait(self.now + event * 1_000_000)
            case "resend":
                self.burst(again(self.steps))
            case "takeover":
                self.takeover()
            case "pull" if self.there:
                self.there = False
                self.lender.pulled("strings")
            case "plug in" if not self.there:
                self.plug_in()
            case "chord":
                for key in range(40, 50):
                    self.put(bytes((0x90, key, 64)))
            case "rest":
                self.rest()


@given(_shows)
@settings(max_examples=150, deadline=None)
def test_a_takeover_leaves_each_channel_on_its_sound(show: list[object]) -> None:
    """Whatever is recalled, played, taken over, pulled and plugged in, each channel that the last burst names ends on
    its sound, although the machine with the cable leaves out what it has let out already."""
    lending = _Lending()
    for event in show:
        lending.perform(event)
    lending.rest()


def test_only_what_changed_is_sent_from_the_machine_with_the_cable() -> None:
    """The engine orders whole bursts; the lender leaves out what it has let out, and sends all of a resend."""
    lending = _Lending()
    steps = tuple(BurstUnit(channel, select(channel, (100, 100), 101), 0) for channel in range(2))
    for event, programs in ((steps, 2), (steps, 2), (steps[:1], 2), ("takeover", 2), (steps, 2), ("resend", 4)):
        lending.perform(event)
        lending.rest()
        assert len(lending.receiver.selected) == programs


def _ending(music: list[bytes]) -> list[bytes]:
    there = ReceiverState()
    for message in music:
        there.note(0, message)
    return there.releases()
