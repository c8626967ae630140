"""Following, taking over and handing over, in virtual time. (Our own design; standards named where used.)"""

import json
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
import trio

from engine.cluster.endpoints.remote_ports import RemoteInput
from engine.cluster.pure.words import Lease, pack
from engine.core.commands import ControlClock, MuteRoute, RecallScene
from engine.live.cable_load import CableLoad
from engine.live.leader_state import RIG, SHOW, TIME
from engine.live.port_reopening import PortReopening
from engine.live.socket.status_stream import StatusFrames
from engine.ports.port import PortGone
from engine.protocol import Answer, AnswerCode, done, refused
from tests.support.at_once import at_once
from tests.support.standby_world import FOOT, KEYS, MS, Engine, World
from tests.support.waiting import eventually


def state_of(world: World, name: str) -> str:
    return world.engines[name].standby.leadership.state


@pytest.fixture
def world() -> World:
    """The desk leads in scene 1, the spare follows."""
    world = World()
    assert world.leaders() == ["desk"]
    world.heard("strings"), world.heard("brass")
    return world


def test_the_one_in_charge_is_heard_and_the_other_is_not(world: World) -> None:
    """Both engines route what is played; it comes out once."""
    world.play(KEYS, "90 3C 40", "80 3C 40")
    world.run(20)
    assert (world.heard("strings"), world.heard("brass")) == (["90 3C 40", "80 3C 40"], ["90 3C 40", "80 3C 40"])
    assert world.owner.lender.fenced == 0
    assert world.engines["spare"].show.engine.state.led_by == "desk"


def test_the_standby_follows_scene_and_mutes(world: World) -> None:
    """A foot switch that both engines receive commands only the leader; the standby follows it, and the shell."""
    world.play(FOOT, "C0 01")
    world.run(20)
    spare = world.engines["spare"]
    assert spare.show.engine.scene == (2, "March")
    assert world.heard("strings") == ["B0 00 00", "B0 20 04", "C0 0C"]
    world.engines["desk"].show.apply(MuteRoute("layer"), "shell")
    world.run(5)
    assert spare.show.engine.state.muted == {"layer"}
    assert not spare.show.apply(RecallScene(1), "shell").done


@pytest.mark.parametrize("death", ["kill", "freeze", "cable"])
def test_it_takes_over_what_sounds(world: World, death: str) -> None:
    """A held note sounds on without a break, a note of the last moment is sent, and both end with their keys."""
    world.play(KEYS, "90 3C 40", "B0 40 7F", "E0 00 50")
    world.run(200)
    die(world, death)
    world.play(KEYS, "90 40 40")
    world.run(120)
    assert "spare" in world.leaders()
    heard = world.heard("strings")
    assert heard == ["90 3C 40", "B0 40 7F", "E0 00 50", "90 40 40"]
    world.play(KEYS, "80 3C 40", "80 40 40", "B0 40 00", "E0 00 40")
    world.run(20)
    assert world.heard("strings") == ["80 3C 40", "80 40 40", "B0 40 00", "E0 00 40"]
    assert [receiver.held for receiver in world.owner.heard.values()] == [0, 0]


def die(world: World, death: str) -> None:
    if death == "cable":
        world.net.cut("desk")
    else:
        getattr(world, death)("desk")


def test_a_note_released_while_nobody_played_does_not_hang(world: World) -> None:
    """A key released between the failure and the takeover is released by the standby at once."""
    world.play(KEYS, "90 3C 40")
    world.run(20)
    world.kill("desk")
    world.play(KEYS, "80 3C 40")
    world.run(50)
    assert world.heard("strings") == ["90 3C 40", "80 3C 40"]


async def test_what_was_moved_while_the_standby_was_away_stays(world: World) -> None:
    """An engine that takes over leaves a fader, a sound, a wheel and a pedal where the other one put them while it was
    cut off. What it has heard since is there as well."""
    spare = world.engines["spare"]
    world.play(KEYS, "B0 14 10", "C3 05", "E0 00 50")
    world.run(20)
    world.net.cut("spare")
    spare.reader.lost.append((KEYS, "left is gone"))
    world.engines["desk"].reader.put(KEYS, "B0 14 60", "C3 09", "E0 00 20", "B0 40 7F")
    world.run(20)
    at_the_desk = [spare.show.outputs.index("monitor")]
    assert spare.show.ports.missing()[1] != at_the_desk
    world.net.mend("spare")
    await PortReopening(spare.show.ports, spare.opener, at_once).open()
    assert spare.show.ports.missing() == ([], at_the_desk)
    world.run(1500)
    world.play(KEYS, "B0 15 33")
    world.run(20)
    world.heard("strings")
    world.kill("desk")
    world.run(120)
    assert world.leaders() == ["spare"]
    assert world.heard("strings") == []
    world.play(KEYS, "B0 14 61", "B0 40 00")
    world.run(20)
    assert world.heard("strings") == ["B0 14 61", "B0 40 00"]


def test_the_standby_s_burst_is_not_repeated(world: World) -> None:
    """At a takeover, instruments that already have the scene's sounds get no program changes."""
    world.kill("desk")
    world.run(100)
    assert world.leaders() == ["spare"]
    assert (world.heard("strings"), world.heard("brass")) == ([], [])


def test_a_scene_that_only_the_standby_had_heard_of_is_completed(world: World) -> None:
    """Program changes that the dead engine never sent are sent by the one that takes over."""
    world.net.part("desk", "left")
    world.play(FOOT, "C0 01")
    world.run(10)
    assert world.engines["spare"].show.engine.scene == (2, "March")
    world.kill("desk")
    world.run(100)
    assert world.heard("strings") == ["B0 00 00", "B0 20 04", "C0 0C"]


def test_a_frozen_engine_that_wakes_plays_nothing(world: World) -> None:
    """What it had routed is refused; it steps down, its own outputs come to rest, and from then on it follows."""
    world.freeze("desk")
    world.run(100)
    world.play(KEYS, "90 3C 40")
    world.run(10)
    world.wake("desk")
    world.run(300)
    world.play(KEYS, "80 3C 40")
    world.run(10)
    assert world.leaders() == ["spare"]
    assert world.heard("strings") == ["90 3C 40", "80 3C 40"]
    desk = world.engines["desk"]
    assert desk.show.engine.state.led_by == "spare"
    assert desk.show.ports.missing() == ([], [])


def test_own_outputs_are_let_go_of_and_come_back(world: World) -> None:
    """Outputs at the main engine fall silent when it steps down, and are opened again when it leads again."""
    screen = world.engines["desk"].system.output("Screen")
    world.play(KEYS, "90 3C 40")
    world.run(5)
    hand_over(world, "desk")
    assert screen.sent[-1][1] == b"\x80\x3c\x40"
    world.play(KEYS, "80 3C 40")
    hand_over(world, "spare")
    desk = world.engines["desk"]
    assert world.leaders() == ["desk"]
    assert desk.show.ports.missing() == ([], [desk.show.outputs.index("monitor")])


def hand_over(world: World, giver: str) -> None:
    engine = world.engines[giver]
    engine.standby.give_away(world.now)
    world.run(300)


def test_a_hand_over_and_back_loses_nothing(world: World) -> None:
    """In music with rests, whatever arrives during a hand-over is played once and in order: short notes, clocks,
    dumps.
    The show changes hands in a rest."""
    played, between = [], 0
    for number in range(1000):
        between += not world.leaders()
        if number in (110, 610):
            world.engines[world.leaders()[0]].standby.give_away(world.now)
        if number % 100 < 50 or not world.leaders():  # 50 ms of music, then 50 ms of rest; without a leader no rest
            message = ["90 3C 40", "80 3C 40", "B0 01 05", "F0 7D 01 F7", "E0 00 41", "C5 07"][number % 6]
            world.play(KEYS, message)
            played.append(message)
        world.run(1)
    world.run(100)
    assert world.leaders() == ["desk"]
    assert between > 1
    assert world.heard("strings") == played


def ticks_since(world: World, begin: int) -> list[int]:
    """The times of the clocks that came later than this."""
    return [at for at, name, message in world.owner.sent if name == "brass" and message == b"\xf8" and at > begin]


@pytest.mark.parametrize("runs", [True, False])
@pytest.mark.parametrize("at", range(0, 20, 7))
def test_a_clock_loses_no_tick_at_a_hand_over(world: World, at: int, runs: bool) -> None:
    """Wherever between two ticks the hand-over is requested, no tick is lost or doubled, running or stopped."""
    begin = world.now
    if runs:
        world.engines["desk"].show.apply(ControlClock("start"), "shell")
    world.run(1000 + at)
    world.engines["desk"].standby.give_away(world.now)
    world.run(1000)
    assert world.leaders() == ["spare"]
    ticks = ticks_since(world, begin)
    assert all(abs((later - earlier) / MS - 20.83) < 6 for earlier, later in pairwise(ticks))
    assert len(ticks) in (96, 97)


def test_without_a_rest_a_hand_over_comes_all_the_same(world: World) -> None:
    """After two seconds without a rest the show changes hands; held notes sound on, new notes are late, not lost."""
    played = []
    for number in range(4400):
        message = f"{'90' if number % 50 < 25 else '80'} {number % 25 + 40:02X} 40"
        world.play(KEYS, message)
        played.append(message)
        if number == 100:
            world.engines["desk"].standby.give_away(world.now)
        world.run(1)
    world.run(50)
    assert world.leaders() == ["spare"]
    heard = [message for message in world.heard("strings") if message.startswith("90")]
    assert heard == [message for message in played if message.startswith("90")]
    assert [receiver.held for receiver in world.owner.heard.values()] == [0, 0]


def test_two_that_lose_each_other(world: World) -> None:
    """The standby asks and is refused; not one note is lost or doubled."""
    world.net.part("desk", "spare")
    for key in range(60, 72):
        world.play(KEYS, f"90 {key:02X} 40")
        world.run(40)
        world.play(KEYS, f"80 {key:02X} 40")
        world.run(40)
    assert world.leaders() == ["desk"]
    assert state_of(world, "spare") == "asking"
    assert len(world.heard("strings")) == 24
    world.net.join("desk", "spare")
    world.run(10)
    assert state_of(world, "spare") == "following"


def test_the_one_that_comes_back_follows(world: World) -> None:
    """A main engine that restarts while the standby leads follows it, and recalls its scene."""
    world.kill("desk")
    world.run(100)
    world.engines["spare"].show.apply(RecallScene(2), "shell")
    world.run(100)
    desk = world.start("desk")
    world.run(2000)
    assert world.leaders() == ["spare"]
    assert desk.show.engine.scene == (2, "March")
    hand_over(world, "spare")
    assert world.leaders() == ["desk"]


def test_a_clock_goes_on_in_step(world: World) -> None:
    """The rig's own clock ticks on from the standby: no tick is doubled, and none is lost beyond the gap."""
    begin = world.now
    world.engines["desk"].show.apply(ControlClock("start"), "shell")
    world.run(1000)
    world.kill("desk")
    world.run(1000)
    ticks = ticks_since(world, begin)
    apart = [(b - a) / MS for a, b in pairwise(ticks)]
    assert all(abs(each - 20.83) < 2 or abs(each - 2 * 20.83) < 2 for each in apart)
    assert len(ticks) >= 94


def test_the_rig_of_the_one_in_charge_is_played_by_the_other(world: World) -> None:
    """An edit at the leader reaches the standby as text."""
    world.run(50)
    assert world.engines["spare"].standby.leader.rig == world.engines["desk"].session.text


def seen_by(engine: Engine) -> dict[str, tuple[bool, bool, None] | tuple[bool, bool, str]]:
    """Each machine as this engine's status shows it: leading, following, lending, or away."""
    return {
        each["name"]: (each["engine"], each["there"], each["played_by"]) for each in engine.joined.status()["machines"]
    }


def test_status_tells_machines_and_who_is_in_charge(world: World) -> None:
    """Both engines agree on the machines, the holder of each output, the leader, and the number of changes."""
    machines = {"desk": (True, True, None), "spare": (True, True, None), "left": (False, True, "desk")}
    for name, engine in world.engines.items():
        picture = engine.joined.status()
        assert (picture["machine"], picture["in_charge"], picture["term"]) == (name, "desk", 1)
        assert seen_by(engine) == machines
        assert engine.joined.problems() == []
    world.kill("desk")
    world.run(100)
    spare = world.engines["spare"]
    assert seen_by(spare) == {**machines, "desk": (True, False, None), "left": (False, True, "spare")}
    assert spare.joined.problems() == ["desk is not there: no engine could take over"]


def test_a_follower_of_the_engine_sees_it_in_a_frame(world: World) -> None:
    """The panel gets the network in its frames, and network faults among the problems."""
    desk = world.engines["desk"]
    frames = StatusFrames(desk.show, desk.session, CableLoad(desk.show), False, desk.joined)
    assert frames.take(0)[0]["frame"]["network"] == desk.joined.status()
    world.net.part("desk", "spare")
    world.run(1500)
    desk.show.tell("test", "a frame is wanted")
    assert frames.take(0)[0]["frame"]["network"]["machines"][1]["there"] is False
    asking = world.engines["spare"].joined.problems()
    assert asking == ["desk is silent, and no machine with outputs lets spare play"]


async def answer_of(world: World, asked: Callable[..., Any]) -> Answer:
    """The answer to this request, while time passes."""
    answers: list[Answer] = []

    async def ask() -> None:
        answers.append(await asked())

    with trio.fail_after(60):
        async with trio.open_nursery() as nursery:
            nursery.start_soon(ask)
            while not answers:
                world.run(1)
                await trio.lowlevel.checkpoint()
    return answers[0]


async def test_a_player_hands_the_show_over_and_takes_it(world: World) -> None:
    """At the leader the command gives the show away, at the other engine it takes it; both name the new leader."""
    desk, spare = (world.engines[name].joined for name in ("desk", "spare"))
    assert await answer_of(world, desk.hand_over) == done("spare is in charge")
    assert await answer_of(world, desk.hand_over) == done("desk is in charge")
    assert await answer_of(world, spare.hand_over) == done("spare is in charge")
    assert world.leaders() == ["spare"]


async def test_there_must_be_somebody_to_hand_over_to(world: World) -> None:
    """With the other engine away nothing changes, and the answer says so."""
    world.kill("spare")
    world.run(10)
    answer = await answer_of(world, world.engines["desk"].joined.hand_over)
    assert answer == refused(AnswerCode.NOT_POSSIBLE, "spare is not there; nothing changed")
    assert world.leaders() == ["desk"]


async def test_who_is_stopped_hands_over_first(world: World) -> None:
    """When the leader is stopped as usual, held notes sound on at the other engine."""
    world.play(KEYS, "90 3C 40")
    world.run(100)
    desk = world.engines["desk"]
    await answer_of(world, desk.joined.part)
    assert world.leaders() == ["spare"]
    desk.show.finish()
    world.kill("desk")
    world.run(200)
    assert world.heard("strings") == ["90 3C 40"]
    assert await world.engines["spare"].joined.part() is None  # no other machine is left


async def test_edits_belong_to_the_one_in_charge(world: World) -> None:
    """An edit at the follower is rejected; it plays the leader's rig and keeps its scene."""
    spare = world.engines["spare"]
    answer = await spare.session.edit(lambda: (lambda text, folder: text.replace("March", "Waltz"), "renamed"))
    assert answer == refused(AnswerCode.NOT_LEADER, "desk is in charge; edit the rig there, and this engine follows")
    world.play(FOOT, "C0 01")
    world.run(20)
    desk = world.engines["desk"].session
    assert (await desk.edit(lambda: (lambda text, folder: text.replace("March", "Waltz"), "renamed"))).done
    world.run(20)
    await spare.standby.leader.play_rig()
    assert spare.show.engine.scene == (2, "Waltz")
    assert spare.session.unsaved
    network = spare.show.engine.rig.network
    assert network is not None
    assert (spare.show.engine.state.led_by, network.machine) == ("desk", "spare")
    world.kill("desk")
    world.play(KEYS, "90 3C 40")
    world.run(100)
    assert world.heard("strings")[-1] == "90 48 40"


def test_the_standby_hears_what_is_plugged_in_at_the_main_engine(world: World) -> None:
    """An input without a machine is at the main engine, which plays it and passes each message to the standby."""
    heard: list[tuple[int, bytes]] = []
    pads = world.engines["spare"].patch.inputs["pads"]
    assert isinstance(pads, RemoteInput)
    pads.hand_to(heard.extend)
    desk = world.engines["desk"]
    desk.system.input("Pad box").push(b"\x90\x24\x40\x80\x24\x40")
    assert desk.patch.inputs["pads"].poll() == [b"\x90\x24\x40", b"\x80\x24\x40"]
    world.engines["spare"].patch.inputs["pads"].poll()
    assert [message for _, message in heard] == [b"\x90\x24\x40", b"\x80\x24\x40"]
    world.kill("desk")
    with pytest.raises(PortGone):
        world.engines["spare"].patch.inputs["pads"].poll()


# A machine that lends and errs


def test_leases_in_the_other_engine_s_name_do_not_move_the_show(world: World) -> None:
    """Six seconds of them change neither who is in charge nor the term, and are no faults of our own."""
    desk, spare = world.engines["desk"], world.engines["spare"]
    term = desk.standby.leadership.term
    for turn in range(600):
        for holder in ("spare", "desk", None):
            lease = Lease(epoch=world.owner.lender.epoch + turn, holder=holder, given_to=None)
            world.owner.link.keep(world.owner.keys.lease("left"), pack(lease))
            world.run(3)
    assert world.leaders() == ["desk"]
    assert (desk.standby.leadership.term, spare.standby.leadership.changes) == (term, 0)
    assert (desk.show.own_faults, spare.show.own_faults) == (0, 0)


@pytest.mark.parametrize(
    "lease", [b"[]", b'["7", null, null, []]', b'{"epoch": -1, "holder": "desk", "given_to": null}']
)
def test_a_lease_that_makes_no_sense_changes_nothing(world: World, lease: bytes) -> None:
    """It costs no turn of the loop: it is counted in the status, shown once, and the music goes on."""
    desk = world.engines["desk"]
    told = len(desk.told)
    for _ in range(500):
        world.owner.link.keep(world.owner.keys.lease("left"), lease)
        world.run(2)
    assert (desk.show.own_faults, len(desk.told) - told) == (0, 1)
    (left,) = (machine for machine in desk.joined.status()["machines"] if machine["name"] == "left")
    assert left["garbled"] == 500
    assert "the lease of left makes no sense" in desk.joined.problems()[0]
    world.play(KEYS, "90 3C 40", "80 3C 40")
    world.run(5)
    assert world.heard("brass") == ["90 3C 40", "80 3C 40"]


def test_words_of_the_other_engine_that_make_no_sense_change_nothing(world: World) -> None:
    """A standby does not follow them; it is shown once for each kind of word."""
    desk, spare = world.engines["desk"], world.engines["spare"]
    before = spare.show.engine.state.main.position, len(spare.told)
    for what in (SHOW, TIME, RIG):
        for word in (b"\xff", b"[]" * 3_000_000, b'{"speaker": "desk", "machine": "desk", "term": -1}'):
            if (what, word[:1]) != (RIG, b"{"):
                desk.link.keep(desk.far.keys.state(what), word)
        world.run(2)
    assert (spare.show.engine.state.main.position, len(spare.told)) == (before[0], before[1] + 3)
    assert (spare.show.own_faults, spare.joined.machines.hearing.garbled("desk")) == (0, 8)


def test_a_term_at_the_end_of_all_numbers_is_not_counted_on_from(world: World) -> None:
    """An engine that hears the highest term can still take the show over and say so."""
    desk, spare = world.engines["desk"], world.engines["spare"]
    term = spare.standby.leadership.term
    word = json.loads(desk.link.kept[desk.far.keys.state(SHOW)])
    desk.link.keep(desk.far.keys.state(SHOW), json.dumps({**word, "term": (1 << 63) - 1}).encode())
    world.run(5)
    assert spare.standby.leadership.term == term
    world.kill("desk")
    world.run(500)
    assert world.leaders() == ["spare"]
    assert spare.show.own_faults == 0


# A rig of the other engine that cannot be read at once, or not at all


async def test_a_rig_that_takes_long_to_read_holds_up_no_turn(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """Meanwhile this engine asks for outputs again, hands over and says where the show is."""
    standby, turns, begun = world.engines["spare"].standby, [], trio.Event()

    async def play_rig() -> None:
        begun.set()
        await trio.sleep_forever()

    monkeypatch.setattr(standby, "turn", lambda: turns.append("turn"))
    monkeypatch.setattr(standby.leader, "play_rig", play_rig)
    async with trio.open_nursery() as nursery:
        nursery.start_soon(standby.run)
        await begun.wait()
        before = len(turns)
        await eventually(lambda: len(turns) > before + 2)
        nursery.cancel_scope.cancel()


async def test_a_fault_in_reading_a_rig_costs_that_rig(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever goes wrong with the rig of the engine in charge, this one plays on, and says so."""

    async def fails(*given: object) -> None:
        raise ZeroDivisionError("of our own")

    spare = world.engines["spare"]
    monkeypatch.setattr(spare.session, "elsewhere", fails)
    spare.standby.leader.rig = RIG.replace("March", "Parade")
    await spare.standby.leader.play_rig()
    assert spare.show.own_faults == 1
    assert any("the rig of desk cannot be played here" in text for text in spare.told)
