"""When it is looked whether a port is still connected. (Our own design; no outside source.)"""

from types import SimpleNamespace
from typing import Any

import pytest

from engine.ports.port import PortGone
from tests.support.needed import need_module


class Joined:
    """The part of a `native.Client` that knows of connections; it counts how often it is asked."""

    changes = 0
    there = True
    asked = 0

    def connected(self, place: int, other: str) -> bool:
        """See native.pyi."""
        self.asked += 1
        return self.there


def tie_of(native: Joined) -> Any:
    """A tie to a port that native knows of."""
    need_module("engine.ports.jack_client.native")
    from engine.ports.jack_client.ports import JackTie

    client: Any = SimpleNamespace(native=native, check=lambda: None)
    return JackTie(client, 0, "stage piano")


def test_messages_are_sent_without_a_look_while_nothing_changes() -> None:
    """Only a change on the server is a reason to ask for the connection, and the next message finds out."""
    native = Joined()
    tie = tie_of(native)
    for _ in range(100):
        tie.check_change()
    assert native.asked == 0
    native.changes, native.there = 1, False
    with pytest.raises(PortGone):
        tie.check_change()


def test_what_is_gone_stays_gone() -> None:
    """A port that was parted is never used again, even if somebody connects it."""
    native = Joined()
    tie = tie_of(native)
    native.there = False
    with pytest.raises(PortGone):
        tie.check()
    native.there = True
    with pytest.raises(PortGone):
        tie.check_change()


def test_after_a_change_nobody_waits_long() -> None:
    """The server shows the end of a connection a period late, so the next looks follow soon."""
    native = Joined()
    tie = tie_of(native)
    assert tie.patience(0.25) == 0.25
    native.changes = 1
    tie.check()
    assert tie.patience(0.25) == 0.005
