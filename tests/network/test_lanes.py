"""Lanes and kept states by themselves. (Our own design; no source.)"""

import threading
from itertools import permutations

from patience import PATIENCE, comes

from engine.network import lanes
from engine.network.keeping import Followed, Kept
from engine.network.lanes import Lane


def test_a_lane_that_is_stuck_loses_what_does_not_fit(monkeypatch) -> None:
    """Whoever publishes never waits: while a machine takes nothing, so much waits, and the rest is counted as lost."""
    monkeypatch.setattr(lanes, "_MOST", 5)
    go, taken, lost = threading.Event(), [], []

    def slow(payload: bytes) -> None:
        go.wait(PATIENCE)
        taken.append(payload)

    lane = Lane("test", lambda key: slow, lambda: lost.append(1))
    lane.put("key", b"0")
    assert comes(lambda: lane._waiting.empty())
    for number in range(1, 9):
        lane.put("key", b"%d" % number)
    assert len(lost) == 3
    go.set()
    lane.end()
    lane.wait(PATIENCE)
    assert taken == [b"%d" % number for number in range(6)]


def test_what_cannot_be_handed_on_is_counted_and_the_rest_goes(monkeypatch) -> None:
    """A message that raises is lost; those after it, and other keys, are not."""
    taken, lost = [], []

    def declare(key: str) -> lanes.Put:
        if key == "bad":
            raise OSError
        return taken.append

    lane = Lane("test", declare, lambda: lost.append(1))
    for key, payload in (("good", b"1"), ("bad", b"2"), ("good", b"3"), ("bad", b"4")):
        lane.put(key, payload)
    lane.end()
    lane.wait(PATIENCE)
    assert (taken, len(lost)) == ([b"1", b"3"], 2)


def test_no_older_state_comes_after_a_newer_one() -> None:
    """However what was published and what was answered arrive, values of one keeper are heard in order, each once;
    what is too short to be a state is passed over."""
    for order in permutations(range(4)):
        kept, heard = Kept(), []
        assert kept.last(b"") == b""
        values = [kept.replace(b"%d" % number) for number in range(4)]
        assert kept.last(b"") == values[-1]
        followed = Followed("key", lambda key, payload, heard=heard: heard.append((key, payload)))
        followed.take(b"short")
        for place in order:
            followed.take(values[place])
            followed.take(values[place])
        told = [payload for _, payload in heard]
        assert told == sorted(set(told))
        assert heard[-1] == ("key", b"3")


def test_each_keeper_has_its_own_order() -> None:
    """A machine that starts anew, or another one, is heard although its numbers begin again."""
    heard: list[bytes] = []
    followed = Followed("key", lambda _, payload: heard.append(payload))
    first, second = Kept(), Kept()
    for kept, value in ((first, b"a"), (first, b"b"), (second, b"c"), (first, b"d")):
        followed.take(kept.replace(value))
    assert heard == [b"a", b"b", b"c", b"d"]
