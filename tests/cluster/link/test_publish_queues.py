"""Publish queues and retained states by themselves. (Our own design; no outside source.)"""

import threading
from collections.abc import Sequence
from functools import partial
from itertools import permutations
from typing import Any

import pytest

from engine.cluster.link import publish_queues
from engine.cluster.link.publish_queues import PublishQueue, Said
from engine.cluster.link.retained_state import RetainedState, RetainedStateReader
from tests.support.waiting import WITHIN, until


def test_a_lane_that_is_stuck_loses_what_does_not_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Publishing never blocks: while a machine takes nothing, the queue fills, and the rest is counted as lost."""
    monkeypatch.setattr(publish_queues, "_MOST", 5)
    go = threading.Event()
    taken: list[Any] = []
    lost: list[Any] = []

    def slow(said: Sequence[Said]) -> None:
        go.wait(WITHIN)
        taken.extend(payload for _, payload in said)

    lane = PublishQueue("test", slow, lost.append)
    lane.put("key", b"0")
    until("the queue", lambda: lane._waiting.empty())
    for number in range(1, 9):
        lane.put("key", b"%d" % number)
    assert sum(lost) == 3
    go.set()
    lane.end()
    lane.wait(WITHIN)
    assert taken == [b"%d" % number for number in range(6)]


def test_what_cannot_be_handed_on_is_counted_and_the_rest_goes() -> None:
    """Messages that raise are lost; those after them are sent."""
    taken: list[Any] = []
    lost: list[Any] = []

    def hand_on(said: Sequence[Said]) -> None:
        if ("bad", b"1") in said:
            raise OSError
        taken.extend(said)

    lane = PublishQueue("test", hand_on, lost.append)
    lane.put("bad", b"1")
    until("the queue", lambda: sum(lost) >= 1)
    lane.put("good", b"2")
    lane.end()
    lane.wait(WITHIN)
    assert (taken, sum(lost)) == ([("good", b"2")], 1)


def test_what_gathers_while_a_lane_is_busy_goes_together() -> None:
    """What is put while the queue is busy sending is sent together afterwards, in order and once."""
    go, taken = threading.Event(), []

    def slow(said: Sequence[Said]) -> None:
        taken.append([payload for _, payload in said])
        go.wait(WITHIN)

    lane = PublishQueue("test", slow, lambda many: None)
    lane.put("a", b"0")
    until("the queue", lambda: bool(taken))
    for number in range(1, 9):
        lane.put("b" if number % 2 else "a", b"%d" % number)
    go.set()
    lane.end()
    lane.wait(WITHIN)
    assert taken == [[b"0"], [b"%d" % number for number in range(1, 9)]]


def _note(heard: list[tuple[str, bytes]], key: str, payload: bytes) -> None:
    heard.append((key, payload))


def test_no_older_state_comes_after_a_newer_one() -> None:
    """In whatever order publications and answers arrive, values of one keeper are delivered in order, each once.

    A payload too short to be a state is ignored."""
    for order in permutations(range(4)):
        kept = RetainedState()
        heard: list[tuple[str, bytes]] = []
        assert kept.last(b"") == b""
        values = [kept.replace(b"%d" % number) for number in range(4)]
        assert kept.last(b"") == values[-1]
        followed = RetainedStateReader("key", partial(_note, heard))
        followed.take(b"short")
        for place in order:
            followed.take(values[place])
            followed.take(values[place])
        values_heard = [payload for _, payload in heard]
        assert values_heard == sorted(set(values_heard))
        assert heard[-1] == ("key", b"3")


def test_each_keeper_has_its_own_order() -> None:
    """States of a machine that restarted, or of another one, are delivered although their numbers begin again."""
    heard: list[bytes] = []
    followed = RetainedStateReader("key", lambda _, payload: heard.append(payload))
    first, second = RetainedState(), RetainedState()
    for kept, value in ((first, b"a"), (first, b"b"), (second, b"c"), (first, b"d")):
        followed.take(kept.replace(value))
    assert heard == [b"a", b"b", b"c", b"d"]
