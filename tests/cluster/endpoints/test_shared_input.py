"""An input that is plugged in here and shared with the other engine. (Our own design; no outside source.)"""

import pytest

from engine.cluster.endpoints.shared_input import SharedInput
from engine.cluster.link.wire_format import read_events
from engine.ports.memory import MemoryInput
from engine.ports.port import MessagesLost, PortGone
from tests.support.fake_link import FakeNet


def test_what_it_hears_is_played_here_and_published() -> None:
    """The show polls it like any input; the other engine gets the same messages with their times, in order."""
    net = FakeNet()
    heard, tokens = [], []
    other = net.link("spare")
    other.subscribe("in/keys", lambda _, payload: heard.append(read_events(payload)))
    other.watch("alive/keys", lambda key, there: tokens.append(there))
    port = MemoryInput("Stage piano")
    shared = SharedInput(port, net.link("desk"), "in/keys", "alive/keys", lambda: 77)
    assert (shared.name, shared.stream.open, shared.stream.repairs) == ("Stage piano", False, 0)
    assert shared.poll() == []
    port.push(b"\x90\x3c\x40\x80\x3c\x40")
    assert shared.poll() == [b"\x90\x3c\x40", b"\x80\x3c\x40"]
    port.push(b"\xb0\x40\x7f")
    assert shared.poll() == [b"\xb0\x40\x7f"]
    assert [(pack.first, pack.events) for pack in heard] == [
        (0, [(77, b"\x90\x3c\x40"), (77, b"\x80\x3c\x40")]),
        (2, [(77, b"\xb0\x40\x7f")]),
    ]
    port.unplug()
    with pytest.raises(PortGone):
        shared.poll()
    shared.close()
    assert tokens == [True, False]


class _Unwatched(MemoryInput):
    """An input that cannot be watched."""

    descriptors = ()


def test_it_can_be_watched_if_the_input_can() -> None:
    """What is plugged in here ends the reader's rest, shared or not."""
    for port in (MemoryInput("Stage piano"), _Unwatched("Pads")):
        shared = SharedInput(port, FakeNet().link("desk"), "in/keys", "alive/keys")
        assert shared.descriptors == port.descriptors
        shared.close()


class _Overrun(MemoryInput):
    """An input whose driver drops something whenever the test says so."""

    drops = False

    def poll(self) -> list[bytes]:
        drops, self.drops = self.drops, False
        if drops:
            raise MessagesLost("some may be lost")
        return super().poll()


def test_what_its_driver_dropped_is_a_gap_for_the_other_engine() -> None:
    """A number is left out, as for a message that was lost on the way."""
    net = FakeNet()
    heard = []
    net.link("spare").subscribe("in/keys", lambda _, payload: heard.append(read_events(payload)))
    port = _Overrun("Stage piano")
    shared = SharedInput(port, net.link("desk"), "in/keys", "alive/keys", lambda: 77)
    port.push(b"\x90\x3c\x40")
    shared.poll()
    port.drops = True
    with pytest.raises(MessagesLost):
        shared.poll()
    port.push(b"\x80\x3c\x40")
    shared.poll()
    assert [pack.first for pack in heard] == [0, 2]
