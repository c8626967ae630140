"""Whatever the network does, no note may hang at the other machine. (The promises are our own; no outside source.)

The receiver is written from MIDI 1.0 and ignores All Notes Off; its own file says why."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.cluster.pure.output_lender import GRACE, Grant
from engine.core.cable.speed import DIN
from engine.ports.port import PortError
from tests.support.fake_link import FakeNet
from tests.support.lending_world import BOX, Box, Engine
from tests.support.receiver import Receiver

MS = 1_000_000


class Night:
    """One engine and one lender, with a receiver at the end of its cable."""

    def __init__(self, paced: bool) -> None:
        self.net = FakeNet()
        self.box = Box(self.net)
        self.speed = DIN if paced else None
        self.box.lender.lend("strings", self.speed)
        self.desk = Engine(self.net, "desk")
        self.receiver = Receiver()
        self.lose = self.cut = self.unplugged = False
        self.publish = self.desk.link.publish
        setattr(self.desk.link, "publish", self._publish)  # noqa: B010 mypy forbids assigning to a method
        self.come_back()

    def _publish(self, key: str, payload: bytes, bulk: bool = False) -> None:
        if self.lose:
            self.lose = False
        else:
            self.publish(key, payload, bulk)

    def play(self, message: bytes) -> None:
        """The engine sends this; if the output is gone, it is not sent but remembered."""
        self.desk.cable.put(self.box.now, (message,), [])
        self.turn()

    def turn(self) -> None:
        """Give both machines their turn."""
        desk = self.desk
        if desk.port is not None:
            if desk.port.gone is not None:
                desk.port.follow()
            desk.port.flush(self.box.now)
        for message in self.box.turn():
            self.receiver.hear(message)

    def passes(self, ns: int) -> None:
        """Let time pass."""
        until = self.box.now + ns
        while (due := self.box.gate.due) is not None and due <= until:
            self.box.now = max(self.box.now, due)
            self.turn()
        self.box.now = until
        self.turn()

    def come_back(self) -> None:
        """If necessary, the engine claims and opens again, as it does five times per second."""
        desk = self.desk
        lease = desk.far.leases.get(BOX)
        if BOX in desk.far.alive and (
            desk.output is None or desk.output.gone or lease is None or lease.holder != "desk"
        ):
            answer = desk.far.claim(BOX)
            if isinstance(answer, Grant):
                desk.far.play(self.box.now, BOX, answer.epoch)
                try:
                    desk.output = desk.far.output("strings", desk.rig.outputs["strings"])
                except PortError:
                    return
                desk.output.join(self.box.now, desk.cable)


def _note(key: int, velocity: int) -> Callable[[Night], None]:
    return lambda night: night.play(bytes((0x90, key, velocity)))


def _value(number: int, value: int) -> Callable[[Night], None]:
    return lambda night: night.play(bytes((0xB0, number, value)))


def _lose(night: Night) -> None:
    night.lose = True


def _stuck(night: Night) -> None:
    """The engine's token goes and comes back."""
    night.desk.link.gone(night.desk.keys.alive("desk"))
    night.passes(GRACE // 2)
    night.desk.link.alive(night.desk.keys.alive("desk"))


def _cut(night: Night) -> None:
    night.cut = True
    night.net.cut("desk")


def _mend(night: Night) -> None:
    if night.cut:
        night.cut = False
        night.net.mend("desk")
        night.come_back()


def _unplug(night: Night) -> None:
    """Unplug the instrument's cable at the other machine."""
    night.unplugged = True
    night.box.link.gone(night.box.keys.plugged(BOX, "out", "strings"))
    with night.box.gate.lender() as lender:
        lender.pulled("strings")


def _plug(night: Night) -> None:
    if not night.unplugged:
        return
    night.unplugged = False
    with night.box.gate.lender() as lender:
        deliveries = lender.plugged(night.box.now, "strings", night.speed)
    for _, message, _ in deliveries:
        night.receiver.hear(message)
    night.box.link.alive(night.box.keys.plugged(BOX, "out", "strings"))
    night.come_back()


def _wait(ms: int) -> Callable[[Night], None]:
    return lambda night: night.passes(ms * MS)


_steps = st.lists(
    st.sampled_from(
        [
            *(_note(key, velocity) for key in (60, 61) for velocity in (0, 100)),
            *(_value(number, value) for number, value in ((64, 127), (64, 0), (1, 90), (7, 90))),
            *(_lose, _stuck, _cut, _mend, _unplug, _plug, _wait(1), _wait(100), _wait(400)),
        ]
    ),
    min_size=10,
    max_size=40,
)


@pytest.mark.slow
@settings(max_examples=300)
@given(_steps, st.booleans())
def test_nothing_is_left_sounding(steps: list[Callable[[Night], None]], paced: bool) -> None:
    """Cables cut and mended, orders lost, loops stuck, instruments unplugged: in the end no note may sound."""
    night = Night(paced)
    for step in steps:
        step(night)
        night.turn()
    _mend(night)
    _plug(night)
    night.passes(2_000 * MS)
    night.come_back()
    for message in night.desk.cable.believed.all.releases():
        night.play(message)
    night.lose = False
    night.play(bytes((0xB0, 7, 1)))
    night.passes(2_000 * MS)
    night.turn()
    assert night.receiver.held == 0
    assert night.receiver.off_rest == set()
