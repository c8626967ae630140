"""What is reported to the player, and how often. (Our own design.)"""

from itertools import pairwise
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from engine.live.notice_limiter import NoticeLimiter

MS = 1_000_000
S = 1000 * MS


def collected() -> tuple[NoticeLimiter, list[Any]]:
    """A notice limiter, and the list of what it reported."""
    told = []
    return NoticeLimiter(lambda now, port, text: told.append((now, port, text))), told


def test_the_first_is_reported_at_once() -> None:
    """A notice is reported at once; so is another notice, or the same from another port."""
    notices, told = collected()
    notices.tell(5, "keys", "was unplugged")
    notices.tell(6, "pads", "was unplugged")
    notices.tell(7, "keys", "is open")
    assert told == [(5, "keys", "was unplugged"), (6, "pads", "was unplugged"), (7, "keys", "is open")]


def test_repeated_ones_are_counted() -> None:
    """A notice repeated within a second is held back; after that second it is reported once, with its count."""
    notices, told = collected()
    for at in range(0, 1000, 10):
        notices.tell(at * MS, "keys", "refuses")
        notices.flush(at * MS)
    notices.flush(S)
    notices.flush(3 * S)
    assert told == [(0, "keys", "refuses"), (S, "keys", "refuses (99 times more in the last second)")]


def test_after_a_pause_it_is_reported_again() -> None:
    """After a second without it, a notice is reported again without a count."""
    notices, told = collected()
    notices.tell(0, "keys", "refuses")
    notices.tell(S, "keys", "refuses")
    assert told == [(0, "keys", "refuses"), (S, "keys", "refuses")]


@given(st.lists(st.tuples(st.integers(0, 400), st.sampled_from("ab"), st.booleans()), max_size=60))
def test_never_more_than_once_a_second_and_nothing_uncounted(steps: list[tuple[int, str, bool]]) -> None:
    """In any series of faults, each is reported at most once per second, and the counts add up to what happened."""
    notices, told = collected()
    now, happened = 0, {"a": 0, "b": 0}
    for wait, text, flush in steps:
        now += wait * MS
        happened[text] += 1
        notices.tell(now, "port", text)
        if flush:
            notices.flush(now)
    notices.flush(now + 2 * S)
    for text, times in happened.items():
        own = [(at, said) for at, _, said in told if said[0] == text]
        assert all(later - earlier >= S for (earlier, _), (later, _) in pairwise(own))
        counted = sum(1 if said == text else int(said.split("(")[1].split()[0]) for _, said in own)
        assert counted <= times <= counted + len(own)  # a notice with a count may itself be one more occurrence


def test_old_ones_are_forgotten() -> None:
    """Thousands of different sentences do not stay in memory."""
    notices, _ = collected()
    for each in range(5000):
        notices.tell(each * S, "port", f"fault {each}")
    assert len(notices._said) <= 257
