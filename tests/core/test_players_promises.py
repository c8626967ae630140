"""What players with scenes of their own rely on: in one engine, each has what they would have alone.

Four players recall at random, several at once, while they play. Beside the engine of all four, four engines of rigs
without players perform one player each; they are what is expected. Sources: our own promises.
"""

from collections.abc import Iterable
from functools import cache
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import NextScene, PreviousScene, RecallScene, Resend, StackCommand, Transpose
from engine.core.compiled import CompiledRig, compile_rig
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.receiver import Receiver

pytestmark = pytest.mark.slow

PLAYERS: Final = ("anna", "ben", "carla", "dan")
ALL: Final = range(len(PLAYERS))
SLOT: Final = 50_000_000  # ns between two moments at which something happens
SCENES: Final = 4  # of each player
KEYS: Final = (48, 50, 55, 60)


def _lines(player: str, shared: bool) -> list[str]:
    """What the scenes of a player play: other transpositions, ranges and pedals, filters with and without state.

    All have a sound: one that waits for its cable is replaced by that of the next scene.
    """
    own = f'from = "{player}", on = "{player}-synth"'
    choir = f', {{ from = "{player}", on = "choir" }}' if shared else ""
    return [
        f'play = [{{ {own}, sound = "One" }}{choir}]',
        f'play = [{{ {own}, sound = "Two", transpose = 12, pedal = false }}]',
        f'held = "cut"\nplay = [{{ {own}, sound = "Three", notes = "..52" }}{choir}]',
        f'play = [{{ {own}, sound = "One", through = [{{ filter = "latch", controllers = [80] }}, '
        '{ filter = "thin", milliseconds = 20 }] }'
        f'{choir}]\nenter = [{{ on = "{player}-synth", send = ["volume 90"] }}]',
    ]


def rig_of(players: Iterable[int], shared: bool, named: bool) -> str:
    """A rig of these players. `shared`: they share two outputs and a choir; else each has an output of their own."""
    text = "format = 2\n[inputs]\n" + "".join(f'{name} = {{ port = "{name}*" }}\n' for name in PLAYERS)
    text += "[outputs]\n" + "".join(f'{name} = {{ port = "{name} box*", wire = "din" }}\n' for name in PLAYERS)
    text += 'hall = { port = "hall*" }\n[instruments]\nchoir = { output = "hall", channel = 10 }\n'
    for place, name in enumerate(PLAYERS):
        output, channel = ("anna", place + 1) if shared else (name, 1)
        sounds = ", ".join(
            f"{sound} = {{ bank = [{place}, {number}], program = {10 * place + number} }}"
            for number, sound in enumerate(("One", "Two", "Three"), 1)
        )
        text += f'{name}-synth = {{ output = "{output}", channel = {channel}, settle = "5 ms", '
        text += f'bank = "msb lsb", sounds = {{ {sounds} }} }}\n'
    for place in players:
        for number, lines in enumerate(_lines(PLAYERS[place], shared)):
            scene = 100 * place + 100 + number
            text += f'[[scenes]]\nnumber = {scene}\nname = "{PLAYERS[place]} {number}"\n{lines}\n'
    for place in players:
        numbers = [100 * place + 100 + number for number in range(SCENES)]
        text += f'[[setlists]]\nname = "list of {PLAYERS[place]}"\nscenes = {numbers}\n'
    for place in players if named else ():
        name = PLAYERS[place]
        text += f'[[players]]\nname = "{name}"\ninputs = ["{name}"]\nsetlist = "list of {name}"\n'
    return text


@cache
def compiled(players: tuple[int, ...], shared: bool, named: bool) -> CompiledRig:
    return compile_rig(read(rig_of(players, shared, named), "players.toml"))


class Performance:
    """An engine, and what its outputs get: `heard` by output, and `sent` in each slot of time."""

    def __init__(self, players: tuple[int, ...], shared: bool, named: bool) -> None:
        # their messages are alike: what one sends would be taken for another's that has come back
        self.engine = Engine(compiled(players, shared, named), watch_loops=False)
        self.heard = [Receiver() for _ in self.engine.outputs]
        self.sent: list[list[bytes]] = [[] for _ in self.engine.outputs]
        self._named = named
        for place in players:
            self._take(self.engine.apply(0, self._command(RecallScene(100 * place + 100), place)).deliveries)

    def _command(self, command: StackCommand, place: int) -> StackCommand:
        return type(command)(**{**vars(command), "player": PLAYERS[place] if self._named else ""})

    def _take(self, deliveries: list[tuple[int, bytes, int]]) -> None:
        for output, message, _ in deliveries:
            self.heard[output].hear(message)
            self.sent[output].append(message)

    def do(self, now: int, place: int, what: StackCommand | bytes) -> None:
        """A player plays this message, or commands."""
        if isinstance(what, bytes):
            self._take(self.engine.receive(now, place, what))
        else:
            self._take(self.engine.apply(now, self._command(what, place)).deliveries)

    def run(self, until: int) -> None:
        """Let time pass."""
        while (due := self.engine.due) is not None and due < until:
            self._take(self.engine.tick(due))


_moves = st.one_of(
    st.builds(lambda key: bytes((0x90, key, 80)), st.sampled_from(KEYS)),
    st.builds(lambda key: bytes((0x80, key, 64)), st.sampled_from(KEYS)),
    st.builds(
        lambda number, value: bytes((0xB0, number, value)), st.sampled_from((1, 64, 80)), st.sampled_from((0, 90))
    ),
    st.builds(lambda value: bytes((0xE0, 0, value)), st.sampled_from((0x40, 0x50))),
)
_commands = st.one_of(
    st.builds(lambda number: number, st.integers(0, SCENES - 1)),
    st.sampled_from((NextScene(), PreviousScene(), Resend(), Transpose(1), Transpose(0))),
)
#: what happens in one moment: whoever plays or commands, and what; a scene is given by its place in the set list
_moments = st.lists(
    st.lists(st.tuples(st.sampled_from(ALL), st.one_of(_moves, _commands)), max_size=5), min_size=1, max_size=12
)


def _as_hands_can(moments: list[list[tuple[int, Any]]]) -> list[list[tuple[int, StackCommand | bytes]]]:
    """The same with scenes by number; a key that is down is not pressed, and one that is up is not released. At
    the end everything is released."""
    down: set[tuple[int, int]] = set()
    found: list[list[tuple[int, StackCommand | bytes]]] = []
    for moment in moments:
        found.append([])
        for place, what in moment:
            if isinstance(what, int):
                found[-1].append((place, RecallScene(100 * place + 100 + what)))
            elif not isinstance(what, bytes) or what[0] not in (0x80, 0x90):
                found[-1].append((place, what))
            elif (what[0] == 0x90) != ((place, what[1]) in down):
                down ^= {(place, what[1])}
                found[-1].append((place, what))
    rests = (b"\xb0\x40\x00", b"\xb0\x01\x00", b"\xe0\x00\x40")
    offs = [(place, bytes((0x80, key, 64))) for place, key in sorted(down)]
    return [*found, [*offs, *((place, rest) for place in ALL for rest in rests)], []]


@given(_moments)
@settings(max_examples=15, deadline=None)
def test_on_outputs_of_their_own_each_plays_as_if_alone(moments: list[list[tuple[int, Any]]]) -> None:
    """In every moment each output gets the very messages, in their order, that it gets from a rig of that player
    alone."""
    together = Performance(tuple(ALL), shared=False, named=True)
    alone = [Performance((place,), shared=False, named=False) for place in ALL]
    for slot, moment in enumerate(_as_hands_can(moments), 1):
        for place, what in moment:
            together.do(slot * SLOT, place, what)
            alone[place].do(slot * SLOT, place, what)
        for each in (together, *alone):
            each.run((slot + 1) * SLOT)
        for place in ALL:
            assert together.sent[place] == alone[place].sent[place], f"{PLAYERS[place]} in slot {slot}"


@given(_moments)
@settings(max_examples=15, deadline=None)
def test_on_shared_outputs_each_has_their_notes_and_sounds(moments: list[list[tuple[int, Any]]]) -> None:
    """On one cable each instrument is on the sound of its player's own scene, whoever else recalls at the same moment;
    a key of an instrument that all share sounds while anybody plays it; and in the end nothing sounds on."""
    together = Performance(tuple(ALL), shared=True, named=True)
    alone = [Performance((place,), shared=True, named=False) for place in ALL]
    for slot, moment in enumerate(_as_hands_can(moments), 1):
        for place, what in moment:
            together.do(slot * SLOT, place, what)
            alone[place].do(slot * SLOT, place, what)
        for each in (together, *alone):
            each.run((slot + 1) * SLOT)
        for output, synth in enumerate(together.heard):
            expected = {key for each in alone for key in each.heard[output].sounding}
            assert set(synth.sounding) == expected, f"slot {slot}"
        for place in ALL:
            mine, theirs = together.heard[0].sound.get(place), alone[place].heard[0].sound.get(place)
            assert mine == theirs, f"{PLAYERS[place]} in slot {slot}"
    assert not together.engine.state.ledger.sounding()
