"""A subscription that is withdrawn when too much arrives. (Our own design; no outside source.)"""

import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from engine.cluster.link import limited_traffic
from engine.cluster.link.allowance import Allowance
from engine.cluster.link.limited_traffic import LimitedTraffic
from engine.cluster.link.zenoh_link import GONE

LITTLE, TOO_MUCH = SimpleNamespace(payload=b"-"), SimpleNamespace(payload=bytes(100))


class AtOnce:
    """Deferred calls that are not deferred."""

    def put(self, call: Callable[..., None], *given: Any) -> None:
        call(*given)


class HandTimer:
    """A timer that is started and rings by hand."""

    begun: list["HandTimer"]

    def __init__(self, seconds: float, call: Callable[..., None], given: tuple[Any, ...]) -> None:
        self.seconds = seconds
        self.ring: Callable[[], None] = lambda: call(*given)

    def start(self) -> None:
        self.begun.append(self)


def test_it_is_withdrawn_for_five_seconds_and_reported_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What arrives meanwhile is not taken, however little it is; five seconds later the subscription is made again."""
    HandTimer.begun = []
    monkeypatch.setattr(threading, "Timer", HandTimer)
    short = SimpleNamespace(covers=lambda length, beside: length < 10)
    monkeypatch.setattr(limited_traffic, "Allowance", lambda: short)
    there: list[Callable[[Any], None]] = []  # what the transport calls
    taken: list[Any] = []
    reports: list[int] = []

    def declare(arrived: Callable[[Any], None]) -> Any:
        there.append(arrived)
        return SimpleNamespace(undeclare=there.clear)

    deferred: Any = AtOnce()
    LimitedTraffic(declare, taken.append, lambda: reports.append(1), deferred)
    (arrived,) = there
    for sample in (LITTLE, TOO_MUCH, LITTLE, TOO_MUCH):
        arrived(sample)
    assert (taken, there, reports) == ([LITTLE], [], [1])
    (timer,) = HandTimer.begun
    assert timer.seconds == 5
    timer.ring()
    (arrived,) = there
    arrived(LITTLE)
    assert (taken, reports) == ([LITTLE, LITTLE], [1])


def test_ports_may_go_400_times_at_once_and_100_times_per_second_after_that() -> None:
    """Coming costs less: a machine with thousands of ports may start. (Our own figures.)"""
    now = 0.0
    allowance = Allowance(lambda: now)
    assert sum(allowance.covers(0, GONE) for _ in range(1000)) == 400
    now = 1.0
    assert sum(allowance.covers(0, GONE) for _ in range(1000)) == 100
    now = 60.0
    assert all(allowance.covers(0) for _ in range(10_000))
