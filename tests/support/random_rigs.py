"""Random rigs and streams for the core.

A scene's burst can be told from what is played: bursts use bank MSB from 100, LSB from 110 and program from 100 in the
bytes, each plus the index of the scene; everything that is played stays below 64.
"""

from typing import Any

from hypothesis import strategies as st

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

_some = st.lists(st.sampled_from(INPUTS), min_size=1, max_size=3, unique=True)
_others = st.lists(st.sampled_from(OUTPUTS), min_size=1, max_size=2, unique=True)


def quoted(names: list[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


@st.composite
def route(draw: st.DrawFn, filters: tuple[str, ...]) -> str:
    """One route through up to three filters."""
    through = ", ".join(draw(st.lists(st.sampled_from(filters), max_size=3)))
    return f"{{ from = {quoted(draw(_some))}, to = {quoted(draw(_others))}, through = [ {through} ] }}"


def burst(place: int, names: list[str]) -> str:
    """The steps of one scene."""
    return ", ".join(
        f'{{ instrument = "{name}", bank = [{100 + place}, {110 + place}], program = {101 + place} }}' for name in names
    )


@st.composite
def rigs(draw: st.DrawFn, filters: tuple[str, ...] = STATELESS + STATEFUL, bursts: bool = True) -> str:
    """The text of a rig with three scenes (1, 2, 3) and an empty one (4)."""
    text = HEAD
    for place in range(SCENES):
        routes = draw(st.lists(route(filters), max_size=4))
        names = draw(st.lists(st.sampled_from(list(GEAR)), max_size=4, unique=True)) if bursts else []
        text += f'[[scenes]]\nnumber = {place + 1}\nname = "S{place}"\nroutes = [ {", ".join(routes)} ]\n'
        text += f"burst = [ {burst(place, names)} ]\n"
    return text + '[[scenes]]\nnumber = 4\nname = "Empty"\n'


keys = st.one_of(st.integers(0, 127), st.sampled_from([36, 38, 60]))
low = st.integers(0, 63)
channels = st.integers(0, 2)
anything = st.integers(0, 127)
MOVERS = (1, 2, 4, 11, 33, 34, 36, 43, 64, 65, 66, 67, 69, 98, 99, 100, 101)


def voice(status: int, *data: st.SearchStrategy[int]) -> st.SearchStrategy[bytes]:
    """A channel message on one of three channels."""
    return st.tuples(channels, *data).map(lambda made: bytes((status | made[0], *made[1:])))


notes = st.one_of(voice(0x90, keys, st.integers(1, 127)), voice(0x80, keys, anything), voice(0x90, keys, st.just(0)))
moves = st.one_of(
    voice(0xB0, st.sampled_from((*MOVERS, 7, 10, 39, 6, 38, 96)), anything),
    voice(0xE0, anything, anything),
    voice(0xD0, anything),
    voice(0xA0, keys, anything),
)
selects = st.one_of(voice(0xC0, low), voice(0xB0, st.sampled_from([0, 32]), low))
# active sensing is left out: an input that has sent it and then plays nothing for a while counts as unplugged
real_time = st.sampled_from([bytes((status,)) for status in (0xF8, 0xFA, 0xFB, 0xFC, 0xFF)])
system = st.one_of(
    real_time,
    st.sampled_from([b"\xf1\x24", b"\xf2\x10\x20", b"\xf3\x05", b"\xf6", b"\xf0\x7d\x01\xf7", b"\xf0\xf7"]),
    st.integers(1, 60).map(lambda length: b"\xf0\x7d" + bytes(length) + b"\xf7"),
)
played = st.one_of(notes, notes, moves, selects, system)

_wait = st.sampled_from([0, 0, 0, 0, 1, 3, 20])
_source = st.integers(0, 2)

#: milliseconds since the last event, then a message of an input, a chord of twelve keys (which fills the DIN cable),
#: the release of all keys of an input, the recall of a scene, or a lost input
events: st.SearchStrategy[list[tuple[int, str, Any, Any]]] = st.lists(
    st.one_of(
        st.tuples(_wait, st.just("play"), _source, played),
        st.tuples(_wait, st.just("play"), _source, played),
        st.tuples(_wait, st.just("chord"), _source, st.tuples(channels, st.integers(30, 110))),
        st.tuples(_wait, st.just("let go"), _source, st.none()),
        st.tuples(_wait, st.just("recall"), st.integers(1, SCENES + 1), st.none()),
        st.tuples(_wait, st.just("lose"), _source, st.none()),
    ),
    max_size=50,
)
