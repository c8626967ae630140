"""Panic: silence on every channel of every output, as fast as each cable allows."""

from collections import Counter
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.cable.silencing_messages import SWEEP
from engine.core.cable.speed import DIN
from engine.core.commands import Panic
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.core.rules import RULES_1
from engine.rig.read.load import read
from tests.support.check_values import check_value
from tests.support.engine_calls import command, engine_of, finish, recall
from tests.support.pit_engine import MS, PORTS, ears, engine, hexed, run_dry
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import events, rigs

STRINGS, BRASS = 0, 1
KEYS, PADS = 0, 1
PEDALS = (64, 66, 67, 69)
#: All Sound Off and All Notes Off, number and value
SILENT = [
    (entry.input["controller"], *entry.expected["values"])
    for entry in (check_value("mode-120"), check_value("mode-123"))
]
#: with nothing held or moved: pedals up, 123, 120 and bends, on 16 channels
EVERYTHING = {
    bytes((0xB0 | ch, number, value)) for ch in range(16) for number, value in (*((one, 0) for one in PEDALS), *SILENT)
} | {bytes((0xE0 | ch, 0x00, 0x40)) for ch in range(16)}

RIG_OF_TWO = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c" }
brass = { port = "d" }
[instruments.string-machine]
output = "strings"
channel = 1
[instruments.brass-module]
output = "brass"
channel = 1
"""
LAYER = """
[[scenes]]
number = 1
name = "Layer"
routes = [ { from = ["keys", "pads"], to = ["strings", "brass"] } ]
"""


def layer(cable: str = "fast") -> Engine:
    made = engine(LAYER, cable)
    recall(made, 0, 1)
    return made


def panic(router: Engine, now: int) -> list[Delivery]:
    return command(router, now, "panic", None, "test")[1]


def at(deliveries: list[Delivery], output: int) -> list[bytes]:
    return [message for to, message, _ in deliveries if to == output]


def _rank(message: bytes) -> str:
    kind = message[0] & 0xF0
    if kind == 0x80:
        return "note-offs"
    if kind == 0xE0:
        return "bends"
    return {123: "123", 120: "120"}.get(message[1], "pedals") if kind == 0xB0 and message[1] != 1 else "wheels"


#: a note-off for each key of each channel, velocity 64 (MIDI 1.0 p. 10)
EVERY_KEY = {bytes((0x80 | ch, key, 64)) for ch in range(16) for key in range(128)}


@pytest.mark.parametrize(("later", "again"), [(2000 * MS, True), (2000 * MS + 1, False)])
def test_a_second_panic_releases_every_key(later: int, again: bool) -> None:
    """A panic within two seconds of another sends, after the sweep, one note-off for every key of every channel."""
    router = layer()
    router.receive(1, KEYS, bytes.fromhex("90 3C 40"))
    first = panic(router, 2)
    assert not EVERY_KEY & set(at(first, STRINGS)) - {b"\x80\x3c\x40"}
    run_dry(router, 3)
    router.receive(4 * MS, KEYS, bytes.fromhex("90 40 40"))
    out = panic(router, 2 + later)
    out += run_dry(router, 3 + later)[1]
    for output in (STRINGS, BRASS):
        heard = at(out, output)
        offs = [message for message in heard if message[0] & 0xF0 == 0x80]
        assert set(offs) == (EVERY_KEY if again else {b"\x80\x40\x40"})
        assert len(offs) == len(set(offs))
        assert heard[0] == b"\x80\x40\x40"
        if again:
            assert set(heard[len(EVERYTHING) + 1 :]) == EVERY_KEY - {b"\x80\x40\x40"}


def test_one_instrument_is_silenced_and_the_others_play_on() -> None:
    """`panic INSTRUMENT` ends the notes and pedals of its channel and sweeps that channel alone; a second one within
    two seconds releases every key of it. An unknown instrument is answered with the nearest and the list."""
    text = RIG_OF_TWO + LAYER
    router = engine_of(read(text, "two.toml"))
    recall(router, 0, 1)
    for message in ("90 3C 40", "91 3D 40", "B0 40 7F", "B1 40 7F"):
        router.receive(1, KEYS, bytes.fromhex(message))
    outcome = router.apply(2, Panic("string-machine"), "test").outcome
    assert (outcome.done, outcome.text) == (True, "panic: string-machine silenced, channel 1 of strings")
    assert router.state.ledger.sounding() == 3  # channel 2 there, and both of brass
    out = router.apply(3, Panic("string-machine"), "test").deliveries
    assert {to for to, _, _ in out} == {STRINGS}
    assert {message for message in EVERY_KEY | EVERYTHING if message[0] & 0x0F == 0} == set(at(list(out), STRINGS))
    off = router.receive(4, KEYS, bytes.fromhex("80 3C 40"))
    assert [to for to, _, _ in off] == [BRASS]
    refused = router.apply(5, Panic("string-machin"), "test").outcome
    assert refused.text.startswith('there is no instrument "string-machin"; did you mean "string-machine"? there are: ')


@pytest.mark.parametrize("cable", ["fast", "din"])
def test_the_order_of_a_panic(cable: str) -> None:
    """First come the note-offs of all keys known to sound, one each, then all sound off and all notes off, so that
    all is silent early, then pedals up (which end what a pedal held through all notes off), bends to centre; an
    optional message comes after the required one (MIDI 1.0 p. 24, A-5; entries mode-anof-optional and mode-123)."""
    router = layer(cable)
    out = []
    for message in ("90 3C 40", "B0 40 7F", "E0 00 50", "B0 01 30", "91 40 40", "90 3C 50"):
        out += router.receive(1, KEYS, bytes.fromhex(message))
    now, _ = run_dry(router, 1)
    out = panic(router, now) + run_dry(router, now)[1]
    for output in (STRINGS, BRASS):
        heard = at(out, output)
        assert heard[:3] == [b"\x80\x3c\x40", b"\x81\x40\x40", b"\xb0\x78\x00"]
        ranks = list(dict.fromkeys(_rank(message) for message in heard if _rank(message) != "wheels"))
        assert ranks == ["note-offs", "120", "123", "pedals", "bends"]
        places = {rank: [i for i, m in enumerate(heard) if _rank(m) == rank] for rank in ranks}
        assert all(places[before][-1] < places[after][0] for before, after in pairwise(ranks))
        assert b"\xb0\x01\x00" in heard, "the wheel that is known to be off rest comes to rest, too"
        effects = check_value("mode-120-vs-123").expected
        assert sorted(effects, key=lambda number: "as soon as possible" not in effects[number]) == ranks[1:3]


def test_a_panic_ends_each_note_before_it_asks_for_silence() -> None:
    """A receiver may ignore All Notes Off, so what sounds gets its note-off first (entry mode-anof-optional)."""
    entry, router = check_value("mode-anof-optional"), layer()
    press, _ = entry.input
    router.receive(1, KEYS, bytes.fromhex(press))
    heard = [message.hex(" ").upper() for message in at(panic(router, 2), STRINGS)]
    first, then = entry.expected
    assert heard[0] in first.split(" or ")
    assert then.removeprefix("then optionally ") in heard[1:]


def test_a_panic_asks_every_channel() -> None:
    """Mode messages count on a receiver's basic channel alone (entry mode-basic-channel), which may be any."""
    for number, value in SILENT:
        asked = {
            message[0] & 0x0F for message in at(panic(layer(), 1), STRINGS) if message[1:] == bytes((number, value))
        }
        assert (asked == set(range(16))) is check_value("mode-basic-channel").expected


def test_nothing_of_ours_resets_the_gear() -> None:
    """System Reset is sent by hand alone (entry mode-system-reset-echo): not at a recall, a panic or the end, and it
    can be kept from passing."""
    entry, router = check_value("mode-system-reset-echo"), layer()
    out = [*panic(router, 1), *recall(router, 2, 1), *finish(router, 3)]
    reset = bytes.fromhex(entry.input["in"])
    assert out
    assert ("forwarded" if reset in at(out, STRINGS) else "never forwarded automatically") == entry.expected
    router = engine(LAYER.replace("] } ]", '], through = [ { filter = "strip", kinds = ["reset"] } ] } ]'))
    recall(router, 0, 1)
    assert router.receive(1, KEYS, reset) == []


def test_a_panic_is_complete_also_the_second_time() -> None:
    """Panic acts on all 16 channels of every output, moved or not, and again with an empty ledger (entries mode-120,
    mode-123: All Sound Off and All Notes Off, value 0)."""
    router = layer()
    for now in (1, 3000 * MS, 6000 * MS):
        out = panic(router, now)
        for output in (STRINGS, BRASS):
            assert set(at(out, output)) == EVERYTHING
            assert len(at(out, output)) == len(EVERYTHING) == 16 * 7


def test_a_panic_reaches_outputs_that_no_scene_names() -> None:
    """Panic works before any scene is recalled, and in an empty one."""
    router = engine('[[scenes]]\nnumber = 1\nname = "Empty"\n')
    for now in (1, 3000 * MS):
        out = panic(router, now)
        assert set(at(out, STRINGS)) == set(at(out, BRASS)) == EVERYTHING
        recall(router, now, 1)


def test_the_time_of_a_panic_on_a_din_cable() -> None:
    """336 bytes for seven messages on 16 channels take 107.52 ms of a DIN cable, 320 µs per byte (MIDI 1.0 p. 1; entry
    mode-panic-short: four messages take 61.44 ms), never further ahead than 3 ms and one message."""
    short = check_value("mode-panic-short")
    assert short.expected["ms_plain"] == pytest.approx(4 * 16 * 3 * DIN.byte_ns / MS)
    router = layer("din")
    out = [(0, delivery) for delivery in panic(router, 0)]
    while router.due is not None:
        now = router.due
        out += [(now, delivery) for delivery in router.tick(now)]
    sent = [(now, begin) for now, (to, _, begin) in out if to == STRINGS]
    assert len(sent) == 16 * 7
    assert [begin for _, begin in sent] == [place * 3 * DIN.byte_ns for place in range(16 * 7)]
    assert all(begin + 3 * DIN.byte_ns - now <= 3 * MS for now, begin in sent)


def test_the_time_of_a_second_panic_on_a_din_cable() -> None:
    """2,048 note-offs and the sweep take 2.07 s of a DIN cable, 320 µs per byte (MIDI 1.0 p. 1)."""
    router = layer("din")
    panic(router, 0)
    run_dry(router, 0)
    begun = 200 * MS
    out = panic(router, begun) + run_dry(router, begun)[1]
    last = max(begin for to, _, begin in out if to == STRINGS)
    assert last + 3 * DIN.byte_ns - begun == (2048 + 16 * 7) * 3 * DIN.byte_ns


def test_a_panic_overtakes_what_waits() -> None:
    """On a full DIN cable the panic goes first; waiting presses are dropped, and their releases are not needed."""
    router = layer("din")
    for key in range(60):
        router.receive(1, KEYS, bytes((0x90, 30 + key, 64)))
    out = panic(router, 1) + run_dry(router, 1)[1]
    heard = at(out, STRINGS)
    assert not [message for message in heard if message[0] & 0xF0 == 0x90]
    assert _rank(heard[0]) == "note-offs"
    first = next(place for place, message in enumerate(heard) if message[0] & 0xF0 == 0xB0)
    assert all(message[0] & 0xF0 == 0x80 for message in heard[:first])


@pytest.mark.parametrize("cable", ["fast", "din"])
def test_a_note_played_during_a_panic_sounds_afterwards(cable: str) -> None:
    """A note played while the panic is still going out sounds after it, and gets its note-off."""
    router = layer(cable)
    router.receive(1, KEYS, b"\x90\x3c\x40")
    now, _ = run_dry(router, 1)
    out = panic(router, now)
    out += router.tick(now + 5 * MS)
    out += router.receive(now + 5 * MS, KEYS, b"\x90\x40\x40")
    out += router.receive(now + 5 * MS, PADS, b"\x90\x3c\x40")
    now, rest = run_dry(router, now + 5 * MS)
    out += rest
    for output in (STRINGS, BRASS):
        heard = at(out, output)
        assert set(heard[-2:]) == {b"\x90\x40\x40", b"\x90\x3c\x40"}
        assert set(heard[:-2]) >= EVERYTHING
    assert [synth.held for synth in ears(out)] == [2, 2]
    for source, message in ((KEYS, b"\x80\x3c\x40"), (KEYS, b"\x80\x40\x40"), (PADS, b"\x80\x3c\x40")):
        out += router.receive(now, source, message)
    out += run_dry(router, now)[1]
    assert [synth.held for synth in ears(out)] == [0, 0]


def test_a_panic_does_not_take_the_sounds_away() -> None:
    """A burst that is going out when the panic comes is finished: the scene's programs stay as they are."""
    text = PORTS.replace("WIRE", "din") + (
        '[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = "keys", to = "strings" } ]\n'
        'burst = [ { instrument = "lead", sound = "B" }, { instrument = "second", sound = "B" } ]\n'
    )
    router = engine_of(read(text, "test"))
    out = recall(router, 0, 1) + panic(router, 1) + run_dry(router, 1)[1]
    assert ears(out)[STRINGS].sound == {0: (2, 12, 21), 1: (2, 12, 31)}


def test_a_low_byte_that_waits_does_not_follow_the_panic() -> None:
    """If the wheel's low byte still waits on a busy cable when the panic brings the wheel to rest, the low byte is
    dropped, too, as the high byte zeroes it (MIDI 1.0 p. 12)."""
    router = layer("din")
    for key in range(8):
        router.receive(1, KEYS, bytes((0x90, 60 + key, 64)))
    router.receive(1, KEYS, b"\xb0\x21\x05")
    heard = at(panic(router, 1) + run_dry(router, 1)[1], STRINGS)
    assert b"\xb0\x21\x05" not in heard
    assert b"\xb0\x01\x00" in heard


def test_two_panics_in_a_row_lose_no_note_off() -> None:
    """A second panic replaces the waiting messages of the first, but not the note-offs still owed."""
    router = layer("din")
    for key in range(40):
        router.receive(key * 2 * MS, KEYS, bytes((0x90, 30 + key, 64)))
        router.tick(key * 2 * MS)
    out = panic(router, 80 * MS) + panic(router, 80 * MS) + run_dry(router, 80 * MS)[1]
    offs = [message for message in at(out, STRINGS) if message[0] == 0x80]
    assert {message[1] for message in offs} >= set(range(30, 70))
    assert set(at(out, STRINGS)) >= EVERYTHING


def test_the_sweep_is_what_the_tests_say() -> None:
    """Seven messages on each of the 16 channels, each once."""
    assert set(SWEEP) == EVERYTHING
    assert max(Counter(SWEEP).values()) == 1


@st.composite
def with_panics(draw: st.DrawFn) -> list[Any]:
    """A stream with panics anywhere in it."""
    stream = list(draw(events))
    for _ in range(draw(st.integers(1, 4))):
        stream.insert(draw(st.integers(0, len(stream))), (0, "panic", 0, None))
    return stream


@pytest.mark.slow
@given(rigs(), with_panics())
@settings(max_examples=50)
def test_panics_anywhere_leave_nothing_hanging(rig: str, stream: list[Any]) -> None:
    """With panics at any moments of any stream: once every key is up nothing sounds, and an empty scene is at rest."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.comes_to_rest()


@pytest.mark.slow
@given(rigs(), with_panics())
@settings(max_examples=40)
def test_after_a_panic_a_key_plays(rig: str, stream: list[Any]) -> None:
    """After any panics, a key that is played sounds where its route leads, as it would without them."""
    route = '{ from = "keys", to = ["strings", "brass"] }'
    played = PlayedEngine(rig.replace('name = "Empty"', f'name = "Empty"\nroutes = [ {route} ]'))
    played.perform(stream)
    played.panic()
    played.recall(4)
    played.down.clear()
    played.play(0, b"\x92\x3c\x40")
    played.run_dry()
    assert [dict(synth.sounding)[2, 0x3C] for synth in played.ears()] == [1, 1]
    assert [synth.held for synth in played.ears()] == [1, 1]


LATCHES = """
[[routes]]
from    = ["keys"]
to      = ["strings"]
through = [ { filter = "latch", controllers = [64] }, { filter = "clock", divide = 3 } ]
[[scenes]]
number = 1
name = "Latched"
routes = [ { from = "pads", to = "brass", through = [ { filter = "latch", controllers = [64] } ] } ]
"""


def test_after_a_panic_a_press_turns_a_latch_on() -> None:
    """A latch that is on when the panic brings its pedal up is off, in routes of the scene and of every scene."""
    router = engine(LATCHES, "fast")
    recall(router, 0, 1)
    for source in (KEYS, PADS):
        assert [m for _, m, _ in router.receive(1, source, b"\xb0\x40\x7f")] == [b"\xb0\x40\x7f"]
        router.receive(2, source, b"\xb0\x40\x00")
    panic(router, 3)
    for source in (KEYS, PADS):
        assert [m for _, m, _ in router.receive(4, source, b"\xb0\x40\x7f")] == [b"\xb0\x40\x7f"]


def test_a_recording_of_format_1_has_the_panic_of_its_time() -> None:
    """When recordings had format 1, a panic sent a note-off for each press, and left a latch on."""
    router = Engine(compile_rig(read(PORTS.replace("WIRE", "fast") + LATCHES, "test")), rules=RULES_1)
    recall(router, 0, 1)
    for message in (b"\xb0\x40\x7f", b"\xb0\x40\x00", b"\x90\x3c\x40", b"\x90\x3c\x41"):
        router.receive(1, KEYS, message)
    assert at(panic(router, 2), STRINGS).count(b"\x80\x3c\x40") == 2
    assert at(router.receive(3, KEYS, b"\xb0\x40\x7f"), STRINGS) == [b"\xb0\x40\x00"]


def test_a_panic_leaves_a_divided_clock_in_step() -> None:
    """Every third tick passes, whatever is silenced meanwhile."""
    router = engine(LATCHES, "fast")
    recall(router, 0, 1)
    passed = []
    for tick in range(9):
        passed.append(bool(router.receive(tick, KEYS, b"\xf8")))
        if tick == 3:
            panic(router, tick)
    assert passed == [True, False, False] * 3


def test_the_outcome_says_how_much_was_silenced() -> None:
    """The player is informed how many notes were released and how many outputs were silenced."""
    router = layer()
    router.receive(1, KEYS, b"\x90\x3c\x40")
    outcome, sent = command(router, 2, "panic", None, "test")
    assert outcome.done
    assert outcome.text == "panic: 2 notes released, everything silenced on 2 outputs"
    assert hexed(sent, BRASS)[0] == "80 3C 40"
    outcome, _ = command(router, 3, "panic", None, "test")
    words = "panic: 0 notes released, everything silenced on 2 outputs, with a note-off for every key"
    assert outcome.text == words
