"""Lights and displays of the gear: a foot controller that shows what happens. (Our own design; no source.)"""

import random
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import cycle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.commands import (
    ChooseSetlist,
    Command,
    ControlClock,
    FirstScene,
    FollowLeader,
    MuteRoute,
    NextScene,
    OutputLost,
    OutputThere,
    Panic,
    PreviousScene,
    RecallScene,
    Resend,
    UnmuteRoute,
    WakeUp,
)
from engine.core.engine import Engine
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, engine_of, input_lost
from tests.support.foot_controller import FootController

MS = 1_000_000
LIGHTS, BOX = 0, 1
RIG = """
format = 2
[inputs]
keys = { port = "Piano" }
foot = { port = "Foot" }
[outputs]
lights = { port = "Foot", wire = "WIRE" }
box = { port = "Box" }
[instruments.brass-module]
output = "box"
channel = 1
sounds = { "Muted" = { program = 3 } }
[instruments.bass-box]
output = "box"
channel = 2
[[scenes]]
number = 1
name = "Overture"
play = [{ from = "keys", on = "bass-box" }]
[[scenes]]
number = 12
name = "Straße nach Mitternacht"
cue = "14.5"
text = "watch the drummer"
play = [
  { from = "keys", on = "brass-module", sound = "Muted", name = "brass" },
  { from = "keys", on = "bass-box", name = "bass" },
]
[[scenes]]
number = 13
name = "Finale"
like = 12
[[setlists]]
name = "Friday"
scenes = [1, 12, 13]
[[setlists]]
name = "Saturday"
scenes = [13, 1]
[[controls]]
input = "foot"
when = { controller = 80 }
do = "next"
[sync.clock]
from = "internal"
to = ["box"]
[[tallies]]
to = "lights"
when = { route = "brass" }
on = "B0 14 7F"
off = "B0 14 00"
[[tallies]]
to = "lights"
when = { scene = 13 }
on = "B0 14 40"
off = "B0 14 00"
[[tallies]]
to = "lights"
when = { scene = "Overture" }
on = "90 3C 7F"
off = "80 3C 00"
[[tallies]]
to = "lights"
when = { clock = "running" }
on = "F0 7D 05 01 F7"
off = "F0 7D 05 00 F7"
[[displays]]
to = "lights"
show = "F0 7D 01 {scene.name:16} F7"
[[displays]]
to = "lights"
show = "F0 7D 02 {scene.number:3}{scene.cue} 2F {next.name:8}{tempo:4} F7"
"""


@cache
def rig(more: str = "", wire: str = "fast", last: str = "Finale") -> Rig:
    return read(RIG.replace("WIRE", wire).replace('name = "Finale"', f'name = "{last}"') + more, "pit.toml")


class Stage:
    """An engine with the gear at its output; `settle` lets everything that is due happen."""

    def __init__(self, text: str = "", wire: str = "fast") -> None:
        self.engine: Engine = engine_of(rig(text, wire))
        self.gear, self.now = FootController(), 0

    def do(self, *commands: Command) -> None:
        for command in commands:
            self.now += MS
            self.hear(self.engine.apply(self.now, command, "shell").deliveries)
        self.settle()

    def hear(self, deliveries: Iterable[Delivery]) -> None:
        """The gear gets what is for its output."""
        self.gear.take(message for output, message, _ in deliveries if output == LIGHTS)

    def settle(self) -> None:
        """Let time pass until nothing has waited for a cable for as long as lights that follow the clock may take."""
        end = self.now + 60 * MS
        while (due := self.engine.due) is not None and due <= end:
            self.now = max(self.now, due)
            self.hear(self.engine.tick(self.now))
            if self.engine.waiting:
                end = self.now + 60 * MS
        self.now = end

    def expected(self) -> dict[object, bytes]:
        """What the gear should show, by the state of the show."""
        state = self.engine.state
        assert state.main.scene is not None
        number, name = state.main.scene.number, state.main.scene.name
        brass = number in (12, 13) and "brass" not in state.muted
        light = "B0 14 7F" if brass else "B0 14 40" if number == 13 else "B0 14 00"
        following = state.main.setlist.beside(1)
        names = {scene.number: scene.name for scene in self.engine.rig.scenes}
        coming = names[following] if following is not None else ""
        bpm, runs = state.sync.bpm(self.now), state.sync.clock_source(self.now) is not None
        first = name.replace("ß", "ss")[:16].ljust(16)
        second = f"{number!s:3}{'14.5' if number == 12 else ''}/{coming.replace('ß', 'ss')[:8]:8}{round(bpm or 0):<4}"
        return {
            b"\xb0\x14": bytes.fromhex(light),
            "key": bytes.fromhex("90 3C 7F" if number == 1 else "80 3C 00"),
            b"\xf0\x7d\x05": bytes.fromhex(f"F0 7D 05 {int(runs):02X} F7"),
            b"\xf0\x7d\x01": b"\xf0\x7d\x01" + first.encode() + b"\xf7",
            b"\xf0\x7d\x02": b"\xf0\x7d\x02" + second.encode() + b"\xf7",
        }

    def agrees(self) -> None:
        assert self.gear.things == self.expected()
        assert self.gear.again == []


def test_all_is_told_at_the_start_and_each_change_once() -> None:
    """With the first scene every light and display is sent, off included; then what changes, and nothing twice."""
    stage = Stage()
    assert stage.engine.due is None
    stage.do(RecallScene(1))
    stage.agrees()
    assert len(stage.gear.heard) == 5
    stage.do(RecallScene(12))
    stage.agrees()
    assert len(stage.gear.heard) == 9
    stage.do(RecallScene(12), Resend(), MuteRoute("bass"))
    assert len(stage.gear.heard) == 9
    stage.do(MuteRoute("brass"))
    assert stage.gear.heard[9:] == [bytes.fromhex("B0 14 00")]
    stage.do(RecallScene(13))
    stage.agrees()
    assert bytes.fromhex("B0 14 40") in stage.gear.heard[10:]


def test_a_foot_switch_lights_its_light() -> None:
    """What a control does is sent likewise."""
    stage = Stage()
    stage.do(RecallScene(1))
    stage.hear(stage.engine.receive(stage.now, 1, bytes.fromhex("B0 50 7F")))
    stage.settle()
    assert stage.engine.scene is not None
    assert stage.engine.scene[0] == 12
    stage.agrees()


def test_an_output_that_returns_is_told_everything() -> None:
    """Gear that was switched off is told all of it once it is back; so is all gear after the machine has slept."""
    stage = Stage()
    stage.do(RecallScene(12), OutputLost("lights"), RecallScene(1))
    for command in (OutputThere("lights"), WakeUp()):
        stage.gear = FootController()
        stage.do(command)
        stage.agrees()


def test_where_only_players_have_scenes_their_lights_are_told() -> None:
    """The rest of the rig may have no scene at all."""
    text = """
format = 2
[inputs]
keys = { port = "Piano" }
[outputs]
box = { port = "Box" }
[instruments.brass-module]
output = "box"
channel = 1
[[scenes]]
number = 21
name = "Fanfare"
play = [{ from = "keys", on = "brass-module" }]
[[setlists]]
name = "Act 1"
scenes = [21]
[[players]]
name = "anna"
inputs = ["keys"]
setlist = "Act 1"
[[tallies]]
to = "box"
when = { player = "anna", scene = 21 }
on = "B0 14 7F"
off = "B0 14 00"
"""
    engine = engine_of(read(text, "pit.toml"))
    engine.apply(MS, FirstScene(player="anna"), "start")
    assert [message for _, message, _ in engine.tick(2 * MS)] == [bytes.fromhex("B0 14 7F")]


def test_who_takes_over_tells_everything_and_who_follows_nothing() -> None:
    """While another machine is in charge nothing is told; once this one is, all of it is."""
    stage = Stage()
    stage.do(RecallScene(12), FollowLeader("other"))
    stage.gear = FootController()
    stage.do(MuteRoute("brass"))
    assert stage.gear.heard == []
    stage.do(FollowLeader(None))
    stage.agrees()


def test_a_clock_that_runs_by_itself_is_noticed() -> None:
    """What follows the clock is looked at without a command; nothing else is looked at then, and all of it with one."""
    stage = Stage('[[tallies]]\nto = "lights"\nwhen = { route = "bass" }\non = "B0 15 7F"\noff = "B0 15 00"\n')
    stage.do(RecallScene(12))
    heard = len(stage.gear.heard)
    clock = stage.engine.state.sync.clock
    assert clock is not None
    stage.engine.state.muted.add("bass")  # not by a command
    clock.set_bpm(stage.now, 97)
    stage.settle()
    assert [message[:3] for message in stage.gear.heard[heard:]] == [b"\xf0\x7d\x02"]
    stage.do(Resend())
    assert stage.gear.heard[heard + 1 :] == [bytes.fromhex("B0 15 00")]


def test_a_panic_ends_notes_that_are_lights() -> None:
    """After a panic a light that is a note is told again; the others are not."""
    stage = Stage()
    stage.do(RecallScene(1))
    stage.gear.things.pop("key")
    heard = len(stage.gear.heard)
    stage.do(Panic())
    assert [message for message in stage.gear.heard[heard:] if message[0] != 0x80] == [bytes.fromhex("90 3C 7F")]


def test_an_edit_tells_what_it_changes() -> None:
    """A light that an edit adds is told, one that it takes out goes out, and the others are not told again."""
    stage = Stage()
    stage.do(RecallScene(12))
    heard = len(stage.gear.heard)
    new = '[[tallies]]\nto = "lights"\nwhen = { scene = 12 }\non = "B0 15 7F"\noff = "B0 15 00"\n'
    deliveries = adopt(stage.engine, stage.now, rig(new))
    sent: list[bytes] = []
    for edited in (rig(new), rig()):
        deliveries = adopt(stage.engine, stage.now, edited)
        stage.now += 100 * MS
        sent += [message for output, message, _ in (*deliveries, *stage.engine.tick(stage.now)) if output == LIGHTS]
    assert sent == [bytes.fromhex("B0 15 7F"), bytes.fromhex("B0 15 00")]
    assert len(stage.gear.heard) == heard


def test_what_waits_on_a_cable_goes_first() -> None:
    """On a slow cable a burst and what waits behind it leave before lights and displays, which follow then."""
    burst = '[instruments.lamp-box]\noutput = "lights"\nchannel = 3\nsounds = { "A" = { program = 1 } }\n'
    own = 'name = "Finale"\nburst = [{ instrument = "lamp-box", sound = "A" }]'
    stage = Stage()
    stage.engine = engine_of(read((RIG + burst).replace("WIRE", "din").replace('name = "Finale"', own), "pit.toml"))
    stage.do(RecallScene(1))
    stage.agrees()
    out = stage.engine.apply(stage.now, RecallScene(13), "shell").deliveries
    while (due := stage.engine.due) is not None and due < stage.now + 100 * MS:
        out += stage.engine.tick(max(due, stage.now))
    there = [message for output, message, _ in out if output == LIGHTS]
    assert there[0] == bytes.fromhex("C2 00")
    assert len(there) == 1 + 4


COMMANDS: Sequence[Command] = (
    *(RecallScene(number) for number in (1, 12, 13)),
    *(NextScene(), PreviousScene(), FirstScene(), Resend(), Panic(), WakeUp()),
    *(MuteRoute("brass"), UnmuteRoute("brass"), MuteRoute("bass"), ChooseSetlist("Friday"), ChooseSetlist("Saturday")),
    *(ControlClock("start"), ControlClock("stop"), ControlClock("tempo", 97.0), ControlClock("tempo", 120.0)),
    *(OutputThere("lights"), OutputLost("lights"), FollowLeader("other"), FollowLeader(None)),
)


def run(commands: Iterable[Command | None], wire: str) -> None:
    """After each of these (None: an edit that renames a scene) gear and show agree, and nothing was told twice."""
    stage = Stage(wire=wire)
    stage.do(RecallScene(1))
    stage.agrees()
    names = cycle(("Curtain", "Finale"))
    for command in commands:
        if command is None:
            stage.hear(adopt(stage.engine, stage.now, rig(wire=wire, last=next(names))))
            stage.settle()
        else:
            if isinstance(command, OutputThere | WakeUp | FollowLeader):  # whoever may have forgotten is told again
                stage.gear.things.clear()
            if isinstance(command, Panic):
                stage.gear.things.pop("key", None)
            stage.do(command)
        if stage.engine.state.led_by is None:
            stage.agrees()


@settings(deadline=None, max_examples=30)
@given(st.lists(st.sampled_from((*COMMANDS, None)), max_size=30), st.sampled_from(("fast", "din")))
def test_gear_and_show_agree_after_any_commands(commands: list[Command | None], wire: str) -> None:
    """After any sequence of commands, edits, pulls and takeovers the gear shows the show and was told nothing twice."""
    run(commands, wire)


@pytest.mark.slow
@pytest.mark.parametrize(("wire", "count"), [("fast", 8_000), ("din", 2_000)])
def test_gear_and_show_agree_after_ten_thousand_commands(wire: str, count: int) -> None:
    """The same after each of 10,000 random ones, in two rows."""
    run(random.Random(1987).choices((*COMMANDS, None), k=count), wire)


def test_an_input_that_goes_changes_nothing() -> None:
    """A pulled input tells the gear nothing."""
    stage = Stage()
    stage.do(RecallScene(12))
    heard = len(stage.gear.heard)
    stage.hear(input_lost(stage.engine, stage.now, 0))
    stage.settle()
    assert len(stage.gear.heard) == heard


def test_a_light_is_on_while_its_song_is_played() -> None:
    """It follows the song, whichever of its scenes is in force."""
    songs = '[[songs]]\nname = "Market"\nscenes = [1]\n[[songs]]\nname = "Waltz"\nscenes = [12, 13]\n'
    light = '[[tallies]]\nto = "lights"\nwhen = { song = "Waltz" }\non = "B0 15 7F"\noff = "B0 15 00"\n'
    evening = '[[setlists]]\nname = "Sunday"\nsongs = ["Market", "Waltz"]\n'
    stage = Stage(songs + light + evening)
    stage.do(ChooseSetlist("Sunday"))
    for command in (FirstScene(), NextScene(), NextScene(), PreviousScene(), PreviousScene()):
        stage.do(command)
    assert [each.hex(" ") for each in stage.gear.heard if each[:2] == b"\xb0\x15"] == [
        "b0 15 00",
        "b0 15 7f",
        "b0 15 00",
    ]
