"""An engine that follows another: it routes, and goes where the show is, but takes no commands here."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.cluster.pure.replica import show_command, show_place, time_command, time_place
from engine.cluster.pure.words import ShowPlace, TimePlace, pack, read_word
from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import RemoteCable
from engine.core.command_result import Result
from engine.core.commands import ControlClock, ControlTimecode, FollowLeader, Transpose
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import apply, command, engine_of, mute, recall, settled
from tests.support.players_rig import ask, players_engine, recall_for, scenes_of

MS = 1_000_000
KEYS, FOOT = 0, 1

RIG = """
format = 1
[inputs]
keys = { port = "a" }
foot = { port = "b" }
[outputs]
strings = { port = "c" }
brass = { port = "d" }
[instruments.lead]
output = "strings"
channel = 1
sounds = { "A" = { bank = [1, 11], program = 21 }, "B" = { bank = [2, 12], program = 22 } }
[[scenes]]
number = 1
name = "Overture"
routes = [ { from = "keys", to = "strings" }, { name = "layer", from = "keys", to = "brass" } ]
burst = [ { instrument = "lead", sound = "A" } ]
[[scenes]]
number = 2
name = "March"
at = "01:00:10:00"
routes = [ { from = "keys", to = "brass", through = [ { filter = "transpose", semitones = 12 } ] } ]
burst = [ { instrument = "lead", sound = "B" } ]
[[setlists]]
name = "Friday"
scenes = [1, 2, 1]
[[setlists]]
name = "Saturday"
scenes = [2, 1]
[[controls]]
input = "foot"
when = { program = "any" }
do = "scene"
[sync.clock]
from = "internal"
bpm = 120
to = ["strings"]
[sync.timecode]
from = "internal"
rate = "25"
start = "01:00:00:00"
to = ["strings"]
"""
BOTH = frozenset(("strings", "brass"))


def engine(led_by: str | None = None) -> Engine:
    """An engine in scene 1, its outputs on another machine."""
    made = engine_of(read(RIG, "test"), remote=BOTH)
    recall(made, 0, 1)
    apply(made, 0, FollowLeader(led_by))
    return made


@pytest.fixture
def follower() -> Engine:
    return engine("desk")


def word_of(engine: Engine) -> dict[str, Any]:
    """An engine's state of the show, as it goes over a link."""
    word: dict[str, Any] = json.loads(pack(show_place(engine)))
    return word


def follow_show(engine: Engine, now: int, word: dict[str, Any]) -> list[Delivery]:
    """Follow this state of the show. Raises ValueError if it makes no sense."""
    sent = done(engine.apply(now, show_command(read_word(ShowPlace, json.dumps(word).encode()))))
    return settled(engine, now, sent)


def follow_time(engine: Engine, now: int, age: int, word: dict[str, Any]) -> list[Delivery]:
    """Follow this state of clock and time code, sent `age` ns ago. Raises ValueError if it makes no sense."""
    return done(engine.apply(now, time_command(read_word(TimePlace, json.dumps(word).encode()), age)))


def done(result: Result) -> list[Delivery]:
    if not result.outcome.done:
        raise ValueError(result.outcome.text)
    return result.deliveries


def test_it_obeys_nobody_here(follower: Engine) -> None:
    """Shell, foot switch, mute, clock and time code change nothing; the answer names the leader."""
    before = word_of(follower)
    outcome, sent = command(follower, 1, "scene", 2, "shell")
    assert (outcome.done, outcome.text, sent) == (False, "desk is in charge; nothing changed here", [])
    for do in ("next", "panic", "resend", "tap", "first"):
        assert not command(follower, 2, do, None, "shell")[0].done
    assert not mute(follower, 3, "layer", True, "osc 192.0.2.1")[0].done
    assert not follower.apply(4, ControlClock("start")).outcome.done
    assert not follower.apply(4, ControlTimecode("locate", "01:00:20:00")).outcome.done
    assert word_of(follower) == before


def test_a_control_s_message_is_consumed_all_the_same(follower: Engine) -> None:
    """A control's message is neither routed nor reported: the leader has received it, too."""
    assert follower.receive(1, FOOT, b"\xc0\x01") == []
    assert (follower.scene, follower.reports.outcomes) == ((1, "Overture"), [])


def test_its_time_code_recalls_nothing(follower: Engine) -> None:
    """Only the leader recalls scenes that wait for a time."""
    follow_time(follower, 0, 0, {"timecode": ["01:00:09:00", 0]})
    for at in range(0, 3000, 5):
        follower.tick(at * MS)
    assert follower.scene == (1, "Overture")


def test_it_goes_where_the_show_is(follower: Engine) -> None:
    """It follows scene, set list, place and muted routes, and notes the sounds of the scene's burst as sent."""
    leader = engine()
    command(leader, 1, "setlist", "Saturday", "shell")
    command(leader, 1, "scene", 2, "shell")
    mute(leader, 1, "layer", True)
    follow_show(follower, 2, word_of(leader))
    assert word_of(follower) == word_of(leader)
    assert follower.state.cables[0].sounds == leader.state.cables[0].sounds
    assert follow_show(follower, 3, word_of(leader)) == []
    assert follower.state.led_by == "desk"


def test_a_place_in_the_list_moves_without_a_burst(follower: Engine) -> None:
    """Moving to the same scene at another place of the list sends no burst."""
    leader = engine()
    command(leader, 1, "entry", 3, "shell")
    assert follow_show(follower, 2, word_of(leader)) == []
    assert follower.state.main.position == leader.state.main.position


@pytest.mark.parametrize(
    "word",
    [
        {},
        {"muted": [], "standing": [7, "", 0]},
        {"muted": [], "standing": "there"},
        {"muted": [], "standing": [1, 2, 3]},
    ],
)
def test_a_word_that_makes_no_sense_changes_nothing(follower: Engine, word: dict[str, Any]) -> None:
    """A state of the show that does not fit this rig is rejected, not followed."""
    before = word_of(follower)
    with pytest.raises(ValueError, match=r"muted|standing|it "):
        follow_show(follower, 1, word)
    assert (word_of(follower), follower.state.led_by) == (before, "desk")


@pytest.mark.parametrize(
    "word", [{"clock": [120, 0]}, {"clock": ["fast", 0, None]}, {"timecode": ["noon", None]}, {"timecode": [1]}]
)
def test_a_time_that_makes_no_sense_changes_nothing(follower: Engine, word: dict[str, Any]) -> None:
    """An invalid state of clock and time code is rejected."""
    with pytest.raises(ValueError, match=r"clock|timecode"):
        follow_time(follower, 1, 0, word)


def test_clock_and_time_code_run_on_in_step(follower: Engine) -> None:
    """From then on both engines tick at the same times, at the same song position and the same frame."""
    leader = engine()
    leader.apply(0, ControlClock("start"))
    leader.apply(3 * MS, ControlTimecode("start"))
    for at in range(700):
        leader.tick(at * MS)
    leader.apply(701 * MS, ControlClock("tempo", 97.0))
    word = json.loads(pack(time_place(leader, 702 * MS)))
    follow_time(follower, 705 * MS, 3 * MS, word)
    ticks: dict[str, list[tuple[int, bytes]]] = {"leader": [], "follower": []}
    for at in range(7050, 30000):
        for name, each in (("leader", leader), ("follower", follower)):
            ticks[name] += [(at, message) for _, message, _ in each.tick(at * MS // 10)]
    assert ticks["leader"][:20] == ticks["follower"][:20]
    assert ticks["leader"] == ticks["follower"]
    assert leader.state.sync.clock is not None
    assert follower.state.sync.clock is not None
    assert leader.state.sync.clock.position == follower.state.sync.clock.position
    assert leader.state.sync.shown(3000 * MS) == follower.state.sync.shown(3000 * MS)


NOTES = st.builds(lambda on, key: bytes((0x90 if on else 0x80, key, 64)), st.booleans(), st.integers(60, 63))
MOVES = st.builds(lambda number, value: bytes((0xB0, number, value)), st.sampled_from([1, 7, 64]), st.integers(0, 127))
STEPS = st.lists(st.one_of(NOTES, MOVES, st.sampled_from([1, 2]), st.booleans()), max_size=40)


@settings(max_examples=60)
@given(STEPS)
def test_both_know_the_same_of_what_sounds(steps: list[bytes | int]) -> None:
    """A follower that gets each change before the next message would send exactly what its leader sends."""
    leader, follower = engine(), engine("desk")
    for now, step in enumerate(steps, 1):
        if isinstance(step, bytes):
            assert leader.receive(now, KEYS, step) == follower.receive(now, KEYS, step)
            continue
        if isinstance(step, bool):
            mute(leader, now, "layer", step)
        else:
            recall(leader, now, step)
        follow_show(follower, now, word_of(leader))
    for one, other in zip(leader.state.cables, follower.state.cables, strict=True):
        assert isinstance(one, RemoteCable)
        assert isinstance(other, RemoteCable)
        assert one.believed.all.snapshot(100) == other.believed.all.snapshot(100)


def test_every_player_is_followed() -> None:
    """The word about the show says where each player is, and goes through JSON whole."""
    leader, follower = players_engine(), players_engine()
    recall_for(leader, 22, "anna")
    recall_for(leader, 2)
    ask(leader, Transpose(-2, player="ben"))
    word = read_word(ShowPlace, pack(show_place(leader)))
    assert word == show_place(leader)
    follower.apply(0, show_command(word))
    assert scenes_of(follower) == {"": 2, "anna": 22, "ben": 31}
    assert follower.positions == leader.positions
