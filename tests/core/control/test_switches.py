"""One switch: what counts, what is a bounce, and which press it was. Both are our own design."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.control.switches import DOUBLE, LONG, SHORT, BounceGuard, FootSwitch
from engine.rig.models.control import Control
from tests.support.bouncing_switch import MS, RECORDED, Change, bursts, presses

PLAIN = (SHORT,)
ALL = (SHORT, LONG, DOUBLE)


def means(kinds: Sequence[str], guard: str = "30 ms") -> dict[str, Control]:
    """A control for each kind of press, with the usual times: long from 600 ms, double within 350 ms."""
    table = {"input": "foot", "do": "next", "guard": guard}
    return {kind: Control.model_validate({**table, "when": {"controller": 64, "press": kind}}) for kind in kinds}


def told(changes: Sequence[Change], kinds: Sequence[str] = ALL, guard: str = "30 ms") -> list[tuple[float, str | None]]:
    """When (ms) a switch reported which press. Time passes as in the engine, up to each `due`, and long at the end."""
    switch, meant = FootSwitch(), means(kinds, guard)
    found: list[tuple[float, str | None]] = []

    def note(at: int, controls: Sequence[Control]) -> None:
        found.extend((at / MS, control.when.press) for control in controls)

    for at, closed in [*changes, (1 << 62, False)]:
        while switch.due is not None and switch.due <= at:
            due = switch.due
            note(due, switch.tick(due))
            assert switch.due is None or switch.due > due, "time must get on"
        if at < 1 << 62:
            note(at, switch.press(at, meant) if closed else switch.release(at))
    return found


def kinds_of(found: Sequence[tuple[float, str | None]]) -> list[str | None]:
    return [kind for _, kind in found]


# The guard


@pytest.mark.parametrize(
    ("length", "times", "counted"),
    [
        (250, (0, 100, 300), (0, 300)),
        (250, (0, 249, 250), (0,)),  # 1 ms after a bounce it still bounces
        (250, (0, 250), (0, 250)),
        (30, (0, 29, 38), (0,)),
        (30, (0, 29, 39), (0, 39)),
        (30, (0, 31), (0, 31)),
        (4, (0, 3, 6, 9, 13), (0, 13)),  # the gap is the guard where that is shorter than 10 ms
        (0, (0, 0, 1, 2), (0, 0, 1, 2)),
        (30, tuple(range(0, 131, 5)), (0, 130)),  # 100 ms beyond the guard at the most
    ],
)
def test_what_the_guard_admits(length: int, times: tuple[int, ...], counted: tuple[int, ...]) -> None:
    """The first closing counts at once; then the switch is ignored for the guard, and while it bounces up to 100 ms
    more."""
    guard = BounceGuard()
    assert tuple(at for at in times if guard.admits(at * MS, length * MS)) == counted


@given(st.integers(0, 300), st.lists(st.integers(0, 50), max_size=80))
def test_a_guard_is_never_deaf_for_longer(length: int, gaps: list[int]) -> None:
    """Whatever arrives, a press that counts is never held off longer than guard + 100 ms after the one before."""
    guard, at, counted = BounceGuard(), 0, 0
    assert guard.admits(0, length * MS)
    for gap in gaps:
        at += gap
        if guard.admits(at * MS, length * MS):
            assert at - counted >= length
            counted = at
        else:
            assert at - counted < length + 100


# Presses


@pytest.mark.parametrize(
    ("times", "found"),
    [
        (((0, 100),), [(450, SHORT)]),
        (((0, 599),), [(949, SHORT)]),
        (((0, 700),), [(600, LONG)]),
        (((0, 100), (300, 380)), [(300, DOUBLE)]),
        (((0, 100), (449, 500)), [(449, DOUBLE)]),
        (((0, 100), (450, 500)), [(450, SHORT), (850, SHORT)]),
        (((0, 100), (300, 1500)), [(300, DOUBLE)]),
        (((0, 100), (200, 300), (400, 500)), [(200, DOUBLE), (850, SHORT)]),
        (((0, 700), (800, 900)), [(600, LONG), (1250, SHORT)]),
        (((0, 20),), [(380, SHORT)]),  # released within the guard: noticed when the guard is over
    ],
)
def test_presses_are_distinguished(times: Sequence[tuple[int, int]], found: list[tuple[int, str]]) -> None:
    """Long from 600 ms, while still down; double if pressed again within 350 ms of the release; else short."""
    assert told(presses(times)) == found


@pytest.mark.parametrize(
    ("kinds", "found"),
    [
        ((SHORT,), [(0, SHORT), (1000, SHORT), (3000, SHORT), (3200, SHORT)]),
        ((LONG,), [(1600, LONG)]),
        ((DOUBLE,), [(3200, DOUBLE)]),
        ((SHORT, LONG), [(100, SHORT), (1600, LONG), (3100, SHORT), (3300, SHORT)]),
        ((SHORT, DOUBLE), [(450, SHORT), (2350, SHORT), (3200, DOUBLE)]),
        ((LONG, DOUBLE), [(1600, LONG), (3200, DOUBLE)]),
    ],
)
def test_a_press_waits_for_nothing_that_means_nothing(kinds: Sequence[str], found: list[tuple[int, str]]) -> None:
    """Presses that no control asks for are not reported; short alone counts at once, with long on release, with double
    after its time."""
    assert told(presses(((0, 100), (1000, 2000), (3000, 3100), (3200, 3300))), kinds) == found


@pytest.mark.parametrize("up", RECORDED)
@pytest.mark.parametrize("down", RECORDED)
def test_recorded_bursts_change_nothing(down: Sequence[float], up: Sequence[float]) -> None:
    """With bounces at both ends of each press, the presses are those of a new switch (common practice, no source)."""
    times = ((0, 150), (1000, 1150), (1400, 1550), (3000, 4000), (6000, 6150))
    assert kinds_of(told(presses(times, down, up))) == [SHORT, DOUBLE, LONG, SHORT]
    assert told(presses(times, down, up), PLAIN) == [(begin, SHORT) for begin, _ in times]


@given(st.lists(st.tuples(bursts(), bursts(), st.sampled_from([150, 400, 900]), st.integers(120, 900)), max_size=6))
def test_a_worn_switch_tells_what_a_new_one_tells(
    feet: list[tuple[Sequence[float], Sequence[float], int, int]],
) -> None:
    """Bounces of 1 to 40 ms change neither the number of presses nor their kinds, and no press comes late."""
    new: list[Change] = []
    worn: list[Change] = []
    at = 0
    for down, up, length, rest in feet:
        if 240 < rest < 420:
            rest = 240  # near 350 ms after the release the bounce decides whether it was a double press
        new += presses(((at, at + length),))
        worn += presses(((at, at + length),), down, up)
        at += length + rest
    assert kinds_of(told(worn)) == kinds_of(told(new))
    assert told(worn, PLAIN) == told(new, PLAIN)


@given(st.lists(st.tuples(st.integers(0, 700), st.booleans()), max_size=40), st.sampled_from(["0 ms", "30 ms", "1 s"]))
def test_no_contact_leaves_a_switch_stuck(steps: list[tuple[int, bool]], guard: str) -> None:
    """After any closing and opening, a switch that has rested reports the next press."""
    changes, at = [], 0
    for gap, closed in steps:
        at += gap * MS
        changes.append((at, closed))
    begin = at // MS + 5000
    before = told([*changes, ((begin - 3000) * MS, False)], guard=guard)
    after = told([*changes, ((begin - 3000) * MS, False), *presses(((begin, begin + 1500),))], guard=guard)
    assert after[len(before) :] == [(begin + 600, LONG)]


def test_a_press_that_begins_while_the_release_bounces_is_late_but_not_lost() -> None:
    """Pressed again 20 ms after its release and held, a switch counts when the guard of the release is over."""
    assert told(presses(((0, 500), (520, 700))), PLAIN) == [(0, SHORT), (530, SHORT)]


def test_a_guard_longer_than_a_long_press_makes_no_long_press() -> None:
    """A switch released at 50 ms is not down at 600 ms, though its guard of 1 s is not over."""
    assert told(presses(((0, 50),)), (SHORT, LONG), "1 s") == [(1000, SHORT)]


def test_a_guard_of_nothing_hears_everything() -> None:
    """guard = "0 ms": every closing counts."""
    assert len(told(presses(((0, 1), (2, 3), (4, 5))), PLAIN, "0 ms")) == 3


@pytest.mark.parametrize(("again", "presses"), [(49, 1), (50, 2)])
def test_after_a_release_no_foot_is_back_within_a_twentieth_of_a_second(again: int, presses: int) -> None:
    """However long the guard is, a switch that is released is ignored for 50 ms; then a press counts."""
    stream = [(0, True), (400 * MS, False), ((400 + again) * MS, True), ((400 + again + 1) * MS, False)]
    assert kinds_of(told(stream, PLAIN, guard="250 ms")) == [SHORT] * presses
