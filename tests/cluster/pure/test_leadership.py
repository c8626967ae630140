"""Which of two engines leads, and which plays each output owner. (Our own design; no outside source.)"""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.cluster.pure.leadership import Ask, Follow, Give, Lead, Leadership, Play
from tests.support.leadership_world import MS, World

OWNERS = ("left", "right")


def _due(charge: Leadership) -> int:
    assert charge.due is not None
    return charge.due


@pytest.fixture
def world() -> World:
    """Both engines run; the main one leads and plays both owners."""
    world = World(OWNERS)
    world.start("desk")
    world.start("spare")
    world.run(2000)
    assert_led_by(world, "desk")
    return world


def assert_led_by(world: World, name: str) -> None:
    assert world.leaders() == [name]
    assert [world.players(owner) for owner in OWNERS] == [[name], [name]]
    assert {engine.leader for engine in world.engines.values()} == {name}


def test_alone_it_is_in_charge_at_once() -> None:
    """Without a standby, an engine claims its owners at once and leads."""
    charge = Leadership(7, "desk", "desk", None, OWNERS)
    assert charge.due == 7
    assert charge.tick(7) == [Lead(), Ask("left"), Ask("right")]
    assert charge.granted(8, "right", 41) == [Play("right", 41, None, True)]
    assert (charge.epoch("right"), charge.epoch("left")) == (41, None)


def test_a_standby_that_has_never_seen_the_main_engine_waits() -> None:
    """A standby that starts first claims nothing; it follows, and the main engine leads when it starts."""
    world = World(OWNERS)
    world.start("spare")
    world.run(5000)
    assert world.leaders() == []
    world.start("desk")
    world.run(2000)
    assert_led_by(world, "desk")


def test_a_main_engine_that_comes_back_follows(world: World) -> None:
    """When the main engine restarts, the show stays with the standby until it is handed over."""
    world.kill("desk")
    world.run(500)
    assert_led_by(world, "spare")
    world.start("desk")
    world.run(3000)
    assert_led_by(world, "spare")
    assert [name for _, name in world.leads] == ["desk", "spare"]


def test_a_stuck_engine_loses_the_show_and_follows_when_it_wakes(world: World) -> None:
    """An engine whose loop was stuck reads what it missed, steps down, and plays nothing under its old epoch."""
    world.stop("desk")
    world.run(300)
    assert world.leaders() == ["desk", "spare"]  # it cannot know yet, but its epoch no longer counts
    assert [world.players(owner) for owner in OWNERS] == [["spare"], ["spare"]]
    world.wake("desk")
    world.run(500)
    assert_led_by(world, "spare")


def test_two_engines_that_lose_each_other_change_nothing(world: World) -> None:
    """If only the link between the engines is cut, every claim of the standby is refused and the show goes on."""
    world.part("desk", "spare")
    world.run(5000)
    assert world.leaders() == ["desk"]
    world.join("desk", "spare")
    world.run(500)
    assert_led_by(world, "desk")
    assert len(world.leads) == 1


def test_a_main_engine_cut_off_from_all_steps_down_when_it_is_back(world: World) -> None:
    """With the main engine unplugged, the standby takes over; plugged in again, it sees the higher term and follows."""
    for other in ("spare", *OWNERS):
        world.part("desk", other)
    world.run(1000)
    assert world.engines["spare"].in_charge
    for other in ("spare", *OWNERS):
        world.join("desk", other)
    world.run(1500)
    assert_led_by(world, "spare")


def test_an_owner_that_only_the_standby_reaches_brings_it_the_whole_show(world: World) -> None:
    """Two engines never have half a show each: the one that is granted what the other lost leads the whole."""
    world.part("desk", "spare")
    world.part("desk", "left")
    world.run(1000)
    world.join("desk", "left")
    world.run(1000)
    world.join("desk", "spare")
    world.run(4500)
    assert_led_by(world, "spare")


def test_a_hand_over_and_back(world: World) -> None:
    """Each engine gives away what it holds, the other claims and gets it; terms increase."""
    for giver, taker in (("desk", "spare"), ("spare", "desk")):
        world.act(giver, world.engines[giver].hand_over(world.now))
        world.run(100)
        assert_led_by(world, taker)
    assert [engine.term for engine in world.engines.values()] == [3, 3]


def test_what_is_given_may_be_as_old_as_the_giving() -> None:
    """The new leader knows when the show was given away: from then on, nobody has sent what was pressed."""
    charge = Leadership(0, "spare", "desk", "spare", ["left"])
    charge.alive(0, True)
    charge.word(0, 1, "desk")
    assert charge.word(5 * MS, 2, "spare") == [Ask("left")]
    assert charge.granted(8 * MS, "left", 9) == [Lead(), Play("left", 9, 5 * MS, False)]
    assert charge.term == 2


def test_a_giving_that_is_not_confirmed_is_said_again() -> None:
    """It is repeated until the owner confirms it, since otherwise the owner would refuse the other engine for ever."""
    charge = Leadership(0, "desk", "desk", "spare", ["left"])
    charge.tick(_due(charge))
    charge.granted(0, "left", 9)
    charge.alive(0, True)
    assert charge.hand_over(10) == [Follow("spare"), Give("left", 9, "spare")]
    assert charge.due == 100 * MS + 10
    assert charge.tick(_due(charge)) == [Give("left", 9, "spare")]
    charge.leased(charge.due, "left", 9, "desk", "spare")
    assert charge.due == 3000 * MS + 10  # when the spare must have reported


def test_an_owner_that_starts_again_is_asked_again(world: World) -> None:
    """A restarted owner remembers no holder; the leader claims it at once, and only the leader."""
    engine = world.engines["desk"]
    world.act("desk", engine.owner_there(world.now, "left", False))
    assert engine.epoch("left") is None
    world.act("desk", engine.owner_there(world.now, "left", True))
    world.run(50)
    assert_led_by(world, "desk")


def test_a_show_without_owners_is_never_taken_by_itself() -> None:
    """Without owners a dead engine looks like a pulled cable; only the player can take the show, by hand."""
    charge = Leadership(0, "spare", "desk", "spare", [])
    charge.alive(0, True)
    charge.word(0, 1, "desk")
    assert charge.alive(1, False) == []
    assert charge.tick(10_000 * MS) == []
    assert charge.take(20_000 * MS) == [Lead()]


def test_the_last_word_of_a_dead_engine_does_not_stop_the_standby() -> None:
    """A dead engine's last message may arrive after its sign of life has gone; the standby keeps asking."""
    charge = Leadership(0, "spare", "desk", "spare", ["left"])
    charge.alive(0, True)
    charge.word(0, 1, "desk")
    assert charge.alive(1, False) == [Ask("left")]
    assert charge.word(2, 1, "desk") == []
    assert charge.state == "asking"
    assert charge.granted(3, "left", 9) == [Lead(), Play("left", 9, None, False)]


def test_a_question_that_is_not_answered_is_asked_again() -> None:
    """A claim lost with its link does not leave the outputs silent; an answer that comes too late changes nothing."""
    charge = Leadership(0, "desk", "desk", None, ["left"])
    assert charge.tick(0) == [Lead(), Ask("left")]
    assert charge.tick(_due(charge)) == [Ask("left")]
    assert charge.granted(1100 * MS, "left", 11) == [Play("left", 11, None, True)]
    assert charge.granted(1200 * MS, "left", 10) == []
    assert charge.epoch("left") == 11


@pytest.mark.parametrize("grants", [True, False])
def test_an_owner_that_errs_is_asked_twenty_times_per_second_at_most(grants: bool) -> None:
    """For ten seconds it grants its outputs and reports at once that they are nobody's, or refuses them each time: the
    engine is not kept busy. A few claims may follow each other at once."""
    charge = Leadership(0, "desk", "desk", None, ["left"])
    acts = charge.tick(0)
    for epoch in range(1, 1000):
        now = epoch * 10 * MS
        asked = charge.tick(now)
        acts += asked
        if grants:
            acts += charge.granted(now, "left", 2 * epoch)
            acts += charge.leased(now, "left", 2 * epoch + 1, None)
        elif asked or epoch == 1:
            acts += charge.refused(now, "left", None)
    assert 10 < sum(isinstance(act, Ask) for act in acts) <= 10 * 20 + 8


def test_an_edit_that_changes_the_owners() -> None:
    """New owners are claimed, removed ones are given up."""
    charge = Leadership(0, "desk", "desk", None, ["left"])
    charge.tick(0)
    charge.granted(0, "left", 9)
    assert len(charge.owned(["right"])) == 1
    assert charge.tick(1) == [Ask("right")]


EVENTS = st.sampled_from(
    [("kill", "desk"), ("kill", "spare"), ("stop", "desk"), ("stop", "spare"), ("over",), ("owner", "left")]
    + [("part", *pair) for pair in (("desk", "spare"), ("desk", "left"), ("spare", "left"), ("desk", "right"))]
)


@pytest.mark.slow
@settings(max_examples=150)
@given(st.lists(st.tuples(EVENTS, st.integers(0, 800), st.integers(0, 800)), max_size=6))
def test_whatever_happens_one_engine_leads_in_the_end(
    events: list[
        tuple[tuple[str, str, str], int, int] | tuple[tuple[str], int, int] | tuple[tuple[str, str], int, int]
    ],
) -> None:
    """Deaths, stuck loops, cut links, hand-overs at any moment: when all is well again, one engine has the whole show.

    At no time may two engines play one owner's outputs under the epoch that counts there."""
    world = World(OWNERS)
    world.start("desk")
    world.start("spare")
    world.run(2000)
    for (what, *who), lasts, then in events:
        undo = happen(world, what, who)
        for _ in range(0, lasts, 50):
            world.run(50)
            assert all(len(world.players(owner)) < 2 for owner in OWNERS)
        undo()
        world.run(then)
    world.run(6000)
    assert len(world.leaders()) == 1
    assert_led_by(world, world.leaders()[0])


def happen(world: World, what: str, who: list[str]) -> Callable[..., Any]:
    """Make one thing go wrong; return how to put it right again."""
    if what == "kill":
        world.kill(*who)
        return lambda: world.start(*who)
    if what == "stop":
        world.stop(*who)
        return lambda: world.wake(*who)
    if what == "part":
        world.part(*who)
        return lambda: world.join(*who)
    if what == "over":
        for name, engine in world.engines.items():
            if engine.in_charge and engine.other_alive:
                world.act(name, engine.hand_over(world.now))
                break
    if what == "owner":
        owner = world.owners[who[0]]
        owner.holder = owner.given_to = None
        owner.epoch += 100
        for name in world.engines:
            world.tell(name, partial(world.miss, name, who[0]))
            world.tell(name, partial(world.meet, name, who[0]))
    return lambda: None
