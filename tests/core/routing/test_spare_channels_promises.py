"""Spare channels against a receiver of our own: no scene change cuts a note while any channel of an instrument is free.

The rules are the project's own (design, "What a scene change is").
"""

from typing import Final

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, mute, recall
from tests.support.pit_engine import MS

#: home and spare channels of each instrument, from 0, and the one behind them all
MODULE, HORN = (3, 10, 11), (4, 12)
CHANNELS: Final = {channel: gear for gear in (MODULE, HORN) for channel in gear}
#: for so long (ns) after its last note a channel may count as sounding: half a second, and what a key press takes
FADING: Final = 500 * MS

TEXT: Final = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
brass = { port = "d" }
[instruments.module]
output = "brass"
channel = 4
spare = [11, 12]
[instruments.horn]
output = "brass"
channel = 5
spare = [13]
"""
PLAYERS_FIRST: Final = 3
PLAYER: Final = """
[[setlists]]
name = "Band"
scenes = [1, 2]
[[setlists]]
name = "Anna"
scenes = [3, 4]
[[players]]
name = "anna"
inputs = ["pads"]
setlist = "Anna"
"""
_program = st.one_of(st.none(), st.integers(100, 103))


@st.composite
def rigs(draw: st.DrawFn) -> tuple[str, dict[int, dict[int, int]]]:
    """A rig of four scenes, and the programs of each: by number, and by the home of the instrument.

    In some of them the pads are a player's, whose scenes are the last two; both players' scenes play all instruments.
    """
    text, programs = TEXT, dict[int, dict[int, int]]()
    players = draw(st.booleans())
    for number in range(1, 5):
        cut = 'held = "cut"\n' * (draw(st.integers(0, 5)) == 0)
        lines, burst = [], []
        programs[number] = {}
        for home, name in ((3, "module"), (4, "horn")):
            source = draw(st.sampled_from(['"keys"', '"pads"', '["keys", "pads"]']))
            if players:
                source = '"keys"' if number < PLAYERS_FIRST else '"pads"'
            shift = draw(st.sampled_from([0, 12]))
            lines.append(f'{{ from = {source}, on = "{name}", transpose = {shift}, name = "{name} {number}" }}')
            if (program := draw(_program)) is not None:
                burst.append(f'{{ instrument = "{name}", program = {program} }}')
                programs[number][home] = program - 1
        text += f'[[scenes]]\nnumber = {number}\nname = "S{number}"\n{cut}'
        text += f"play = [ {', '.join(lines)} ]\nburst = [ {', '.join(burst)} ]\n"
    return text + PLAYER * players, programs


EVENTS: Final = st.lists(
    st.one_of(
        st.tuples(st.just("recall"), st.integers(1, 4), st.just(0)),
        st.tuples(st.just("press"), st.integers(0, 1), st.integers(40, 44)),
        st.tuples(st.just("press"), st.integers(0, 1), st.integers(40, 44)),
        st.tuples(st.just("release"), st.integers(0, 1), st.integers(40, 44)),
        st.tuples(st.just("pedal"), st.integers(0, 1), st.sampled_from([0, 127])),
        st.tuples(st.just("bend"), st.integers(0, 1), st.sampled_from([0, 64, 127])),
        st.tuples(st.just("wait"), st.sampled_from([1, 100, 700]), st.just(0)),
        st.tuples(st.just("mute"), st.integers(1, 4), st.booleans()),
    ),
    max_size=40,
)


class Module:
    """Hears one output: keys, pedals and programs by channel, and since when each channel has been silent."""

    def __init__(self) -> None:
        self.down: set[tuple[int, int]] = set()
        self.ringing: set[tuple[int, int]] = set()
        self.pedals: set[int] = set()
        self.programs: dict[int, int] = {}
        self.silent_since: dict[int, int] = {}
        self.pressed: list[int] = []  # channels of the notes since it was last looked at
        self.cut: list[int] = []  # channels that were given a program while they sounded

    def sounds(self, channel: int) -> bool:
        return any(at == channel for at, _ in self.down | self.ringing)

    def hear(self, now: int, message: bytes) -> None:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        before = self.sounds(channel)
        if kind == 0x90:
            self.down.add((channel, message[1]))
            self.pressed.append(channel)
        elif kind == 0x80:
            was_down = (channel, message[1]) in self.down
            self.down.discard((channel, message[1]))
            if was_down and channel in self.pedals:
                self.ringing.add((channel, message[1]))
        elif kind == 0xB0 and message[1] == 64:
            (self.pedals.add if message[2] >= 64 else self.pedals.discard)(channel)
            if channel not in self.pedals:
                self.ringing = {each for each in self.ringing if each[0] != channel}
        elif kind == 0xC0:
            self.programs[channel] = message[1]
            self.cut += [channel] * before
        if before and not self.sounds(channel):
            self.silent_since[channel] = now

    def free(self, now: int, channel: int) -> bool:
        """Whether it is silent, and has been for long enough."""
        since = self.silent_since.get(channel, -FADING)
        return not self.sounds(channel) and since + FADING < now


class Evening:
    """An engine, whoever plays and commands it, and the receiver."""

    def __init__(self, text: str, programs: dict[int, dict[int, int]]) -> None:
        self.engine: Engine = engine_of(read(text, "test"))
        self.module, self.programs, self.now = Module(), programs, 0
        self.players = len(self.engine.state.stacks) > 1
        self.scenes: dict[bool, int] = {}  # in force, of the player and of the rest of the rig
        self.keys: set[tuple[int, int]] = set()  # that are down
        self.sound: dict[int, int] = {}  # that each instrument is on, by its home
        for first in (1, PLAYERS_FIRST) if self.players else (1,):
            self.recall(first)

    def hear(self, deliveries: list[Delivery]) -> None:
        for _, message, at in deliveries:
            self.module.hear(at, message)

    def run(self, until: int) -> None:
        while self.engine.due is not None and self.engine.due <= until:
            self.hear(self.engine.tick(self.engine.due))
        self.now = until

    def recall(self, number: int) -> None:
        free = {gear for channel, gear in CHANNELS.items() if self.module.free(self.now, channel)}
        self.module.cut.clear()
        self.hear(recall(self.engine, self.now, number))
        whose = self.players and number >= PLAYERS_FIRST
        if number != self.scenes.get(whose):
            assert not [channel for channel in self.module.cut if CHANNELS[channel] in free]
        self.scenes[whose] = number
        self.sound |= self.programs[number]

    def play(self, source: int, message: bytes) -> None:
        self.module.pressed.clear()
        self.hear(self.engine.receive(self.now, source, message))
        for channel in self.module.pressed:
            home = CHANNELS[channel][0]
            assert self.module.programs.get(channel) == self.sound.get(home)

    def perform(self, do: str, which: int, value: int) -> None:
        if do == "recall":
            self.recall(which)
        elif do in ("press", "release"):
            if ((which, value) in self.keys) == (do == "release"):  # as hands can
                self.keys ^= {(which, value)}
                self.play(which, bytes((0x90 if do == "press" else 0x80, value, 64)))
        elif do == "pedal":
            self.play(which, bytes((0xB0, 64, value)))
        elif do == "bend":
            self.play(which, bytes((0xE0, 0, value)))
        elif do == "mute":
            self.hear(mute(self.engine, self.now, f"module {which}", bool(value))[1])
        else:
            self.run(self.now + which * MS)
        self.now += MS


@settings(deadline=None, max_examples=150)
@given(rigs(), EVENTS)
def test_no_scene_change_cuts_a_note_while_a_channel_is_free(
    made: tuple[str, dict[int, dict[int, int]]], events: list[tuple[str, int, int]]
) -> None:
    """No program reaches a sounding channel while another one of its instrument is free; each note sounds where the
    sound of its scene is; in the end every note has been released."""
    evening = Evening(*made)
    for event in events:
        evening.perform(*event)
    for source in (0, 1):
        evening.play(source, bytes((0xB0, 64, 0)))
    for source, key in sorted(evening.keys):
        evening.play(source, bytes((0x80, key, 64)))
    evening.run(evening.now + 1000 * MS)
    assert (evening.module.down, evening.module.ringing) == (set(), set())
