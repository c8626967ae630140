"""Ports that vanish and return, according to lists and connections written by the test. (Our own design.)"""

import pytest

from engine.ports.port import PortGone
from engine.ports.port_presence import Joint, PortPresence

STEP = 200_000_001  # ns: just more than the time between two checks


class Service:
    """A list of ports, and our end of a connection."""

    def __init__(self) -> None:
        self.names = ["Stage piano"]
        self.joined = ["bayleaf:end"]
        self.looks = 0

    def look(self) -> list[str]:
        self.looks += 1
        return self.names


def test_one_look_serves_all() -> None:
    """However many ports ask however often, the list is read at most once in 0.2 s."""
    service = Service()
    presence = PortPresence(service.look)
    joints = [Joint("Stage piano", presence, None, "") for _ in range(5)]
    for now in (STEP, STEP + 1, 2 * STEP - 1, 3 * STEP - 1):
        for joint in joints:
            joint.check(now)
    assert service.looks == 2


def test_an_older_look_is_not_believed() -> None:
    """A port that was opened after the last reading is not gone because that reading lacks it."""
    service = Service()
    presence = PortPresence(service.look)
    presence.names(STEP)
    service.names = ["Stage piano", "Grand piano"]
    presence.forget()
    Joint("Grand piano", presence, None, "").check(STEP + 1)


def test_a_port_that_came_back_stays_gone() -> None:
    """A port found to be gone stays gone when its name is in the list again."""
    service = Service()
    joint = Joint("Stage piano", PortPresence(service.look), None, "")
    joint.check(STEP)
    service.names = []
    for now in (2 * STEP, 3 * STEP):
        with pytest.raises(PortGone, match='"Stage piano" was unplugged'):
            joint.check(now)
        service.names = ["Stage piano"]


def test_a_port_that_came_back_between_two_looks() -> None:
    """A port in the list that is no longer connected to us is gone, for good."""
    service = Service()
    joint = Joint("Stage piano", PortPresence(service.look), lambda: service.joined, "bayleaf:end")
    joint.check(STEP)
    service.joined = ["other:end"]
    for now in (2 * STEP, 3 * STEP):
        with pytest.raises(PortGone, match='"Stage piano" was unplugged'):
            joint.check(now)
        service.joined = ["bayleaf:end"]


def test_a_connection_that_was_never_seen() -> None:
    """A port stays open if the server shows its connection late, never, or under a shortened name."""
    service = Service()
    joint = Joint("Stage piano", PortPresence(service.look), lambda: service.joined, "bayleaf:a very long name")
    for number in range(5):
        joint.check((number + 1) * STEP)
