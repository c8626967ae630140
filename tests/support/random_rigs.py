"""Random rigs and streams for the core.

A scene's burst can be told from what is played: bursts use bank MSB from 100, LSB from 110 and program from 100 in the
bytes, each plus the index of the scene; everything that is played stays below 64.
"""

from collections.abc import Sequence
from random import Random
from typing import Any

from hypothesis import strategies as st

from tests.support.seeded import seeded, seeded_list

INPUTS = ("keys", "pads", "foot")
OUTPUTS = ("strings", "brass")  # the first is a DIN cable, the second is not paced
#: output, channel (0 to 15) and settle time (ms) of each instrument
GEAR = {"lead": (0, 0, 30), "second": (0, 1, 5), "third": (0, 2, 0), "horn": (1, 0, 20), "tuba": (1, 2, 0)}
SCENES = 3

HEAD = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
foot = { port = "c" }
[outputs]
strings = { port = "d", wire = "din" }
brass = { port = "e" }
""" + "".join(
    f'[instruments.{name}]\noutput = "{OUTPUTS[output]}"\nchannel = {channel + 1}\nsettle = "{settle} ms"\n'
    for name, (output, channel, settle) in GEAR.items()
)

STATELESS = (
    '{ filter = "channels", map = { 1 = 3, 2 = 1 } }',
    '{ filter = "channels", keep = [1] }',
    '{ filter = "transpose", semitones = 7 }',
    '{ filter = "transpose", semitones = -40 }',
    '{ filter = "transpose", semitones = 90, outside = "fold" }',
    '{ filter = "zone", notes = [40, 60], velocity = [20, 100] }',
    '{ filter = "zone", notes = ["C4", "G9"] }',
    '{ filter = "velocity", range = [30, 90] }',
    '{ filter = "velocity", fixed = 100 }',
    '{ filter = "notes", map = { 36 = 60, 38 = 60, 60 = 36 } }',
    '{ filter = "controllers", drop = [1], map = { 11 = 2 } }',
    '{ filter = "convert", from = "aftertouch", to = "controller 1" }',
    '{ filter = "add_bank", channels = { 1 = [8, 9] } }',
)
STATEFUL = ('{ filter = "latch", controllers = [64] }', '{ filter = "thin", milliseconds = 20 }')


def quoted(names: list[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _some(dice: Random, names: Sequence[str], least: int = 1) -> list[str]:
    return dice.sample(names, dice.randint(least, len(names)))


def _route(dice: Random, filters: tuple[str, ...]) -> str:
    through = ", ".join(dice.choice(filters) for _ in range(dice.randint(0, 3)))
    return f"{{ from = {quoted(_some(dice, INPUTS))}, to = {quoted(_some(dice, OUTPUTS))}, through = [ {through} ] }}"


def route(filters: tuple[str, ...]) -> st.SearchStrategy[str]:
    """One route through up to three filters."""
    return seeded(lambda dice: _route(dice, filters))


def burst(place: int, names: list[str]) -> str:
    """The steps of one scene."""
    return ", ".join(
        f'{{ instrument = "{name}", bank = [{100 + place}, {110 + place}], program = {101 + place} }}' for name in names
    )


def _rig(dice: Random, filters: tuple[str, ...], bursts: bool) -> str:
    text = HEAD
    for place in range(SCENES):
        routes = [_route(dice, filters) for _ in range(dice.randint(0, 4))]
        names = _some(dice, list(GEAR), least=0) if bursts else []
        text += f'[[scenes]]\nnumber = {place + 1}\nname = "S{place}"\nroutes = [ {", ".join(routes)} ]\n'
        text += f"burst = [ {burst(place, names)} ]\n"
    return text + '[[scenes]]\nnumber = 4\nname = "Empty"\n'


def rigs(filters: tuple[str, ...] = STATELESS + STATEFUL, bursts: bool = True) -> st.SearchStrategy[str]:
    """The text of a rig with three scenes (1, 2, 3) and an empty one (4)."""
    return seeded(lambda dice: _rig(dice, filters, bursts))


MOVERS = (1, 2, 4, 11, 33, 34, 36, 43, 64, 65, 66, 67, 69, 98, 99, 100, 101)
_CHANNELS = 3
# active sensing is left out: an input that has sent it and then plays nothing for a while counts as unplugged
_SYSTEM = (
    *(bytes((status,)) for status in (0xF8, 0xFA, 0xFB, 0xFC, 0xFF)),
    *(b"\xf1\x24", b"\xf2\x10\x20", b"\xf3\x05", b"\xf6", b"\xf0\x7d\x01\xf7", b"\xf0\xf7"),
    *(b"\xf0\x7d" + bytes(length) + b"\xf7" for length in (1, 7, 20, 40, 60)),
)


def _note(dice: Random) -> bytes:
    key = dice.choice((dice.randrange(128), dice.randrange(128), 36, 38, 60))
    status, value = dice.choice(((0x90, dice.randrange(1, 128)), (0x80, dice.randrange(128)), (0x90, 0)))
    return bytes((status | dice.randrange(_CHANNELS), key, value))


def _move(dice: Random) -> bytes:
    status = dice.choice((0xB0, 0xE0, 0xD0, 0xA0))
    value = dice.randrange(128)
    data = {
        0xB0: (dice.choice((*MOVERS, 7, 10, 39, 6, 38, 96)), value),
        0xE0: (dice.randrange(128), value),
        0xD0: (value,),
        0xA0: (dice.choice((dice.randrange(128), 36, 38, 60)), value),
    }
    return bytes((status | dice.randrange(_CHANNELS), *data[status]))


def _select(dice: Random) -> bytes:
    status, *data = dice.choice(((0xC0,), (0xB0, 0), (0xB0, 32)))
    return bytes((status | dice.randrange(_CHANNELS), *data, dice.randrange(64)))


def message(dice: Random) -> bytes:
    """Any message that may be played."""
    kind = dice.choice((_note, _note, _move, _select, None))
    return kind(dice) if kind else dice.choice(_SYSTEM)


def event(dice: Random) -> tuple[int, str, Any, Any]:
    """Milliseconds since the last event, then a message of an input, a chord of twelve keys (which fills the DIN
    cable), the release of all keys of an input, the recall of a scene, or a lost input."""
    wait, source = dice.choice((0, 0, 0, 0, 1, 3, 20)), dice.randrange(len(INPUTS))
    match dice.choice(("play", "play", "chord", "let go", "recall", "lose")):
        case "play":
            return wait, "play", source, message(dice)
        case "chord":
            return wait, "chord", source, (dice.randrange(_CHANNELS), dice.randrange(30, 111))
        case "recall":
            return wait, "recall", dice.randrange(1, SCENES + 2), None
        case what:
            return wait, what, source, None


played = seeded(message)
events = seeded_list(event, most=60)
