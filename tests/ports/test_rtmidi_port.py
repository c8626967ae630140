"""An input on RtMidi's own queue, which drops what it has no room for. (RtMidi 5.0.0, MidiInApi::MidiQueue.)"""

from collections import deque
from typing import Any

import pytest

from engine.ports.port import MessagesLost
from engine.ports.rtmidi_port import QUEUE, RtmidiDevice, RtmidiInput

NOTE = b"\x90\x3c\x40"
HOLDS = QUEUE - 1


class Ring:
    """RtMidi's queue: one place stays free, and what does not fit is dropped."""

    def __init__(self) -> None:
        self.events: deque[bytes] = deque()
        self.dropped = 0

    def push(self, message: bytes, times: int = 1) -> None:
        room = min(times, HOLDS - len(self.events))
        self.events.extend([message] * room)
        self.dropped += times - room

    def get_message(self) -> tuple[list[int], float] | None:
        return ([*self.events.popleft()], 0.0) if self.events else None


@pytest.fixture
def ring() -> Ring:
    """The queue of one input."""
    return Ring()


@pytest.fixture
def port(ring: Ring) -> RtmidiInput:
    """An input that is polled from it."""

    def nothing(*_: Any) -> None: ...

    return RtmidiInput("Stage piano", RtmidiDevice(ring, nothing, nothing))


def test_a_queue_that_was_full_is_reported_once_after_what_it_held(ring: Ring, port: RtmidiInput) -> None:
    """Whether it is one message or thousands that found no room; the input goes on."""
    for more in (1, 5000):
        ring.push(NOTE, HOLDS + more)
        assert ring.dropped == more
        assert port.poll() == [NOTE] * HOLDS
        ring.push(NOTE)
        with pytest.raises(MessagesLost, match='"Stage piano" sent more than its queue of 8,191 messages holds'):
            port.poll()
        assert port.poll() == [NOTE]
        assert port.poll() == []
        ring.dropped = 0


def test_a_queue_that_was_nearly_full_has_lost_nothing(ring: Ring, port: RtmidiInput) -> None:
    """Nor is anything reported."""
    ring.push(NOTE, HOLDS - 1)
    assert port.poll() == [NOTE] * (HOLDS - 1)
    assert port.poll() == []
    assert ring.dropped == 0


def test_a_sysex_that_lost_its_rest_is_abandoned(ring: Ring, port: RtmidiInput) -> None:
    """What comes later is not added to it."""
    ring.push(NOTE, HOLDS - 1)
    ring.push(b"\xf0\x7d\x01")
    ring.push(b"\x02\xf7")
    assert port.poll() == [NOTE] * (HOLDS - 1)
    with pytest.raises(MessagesLost):
        port.poll()
    ring.push(NOTE)
    assert port.poll() == [NOTE]
    assert port.stream.repairs == 1
