"""Several players on one channel: the instrument sounds as if a perfect merger stood before it (hypothesis)."""

from collections import defaultdict

from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import command, engine_of, input_lost, recall
from tests.support.perfect_merger import RESETS, DecodedCable, PerfectMerger, PlayedInstrument
from tests.support.pit_engine import run_dry
from tests.support.random_rigs import HEAD

PLAYERS, FOOT = 3, 2

few = st.sampled_from([0, 1, 8, 64, 127])
sets = st.tuples(
    st.sampled_from([0, 32, 1, 33, 11, 43, 7, 39, 64, 64, 66, 69, 65, 98, 99, 100, 101, 6, 38, 96, 97]), few
)
modes = st.tuples(st.sampled_from([120, 121, 121, 123, 123, 126]), st.just(0))
on_channel = st.one_of(
    st.tuples(st.just(0x90), st.integers(60, 62), st.just(100)),
    st.tuples(st.just(0x80), st.integers(60, 62), st.just(64)),
    sets.map(lambda made: (0xB0, *made)),
    sets.map(lambda made: (0xB0, *made)),
    sets.map(lambda made: (0xB0, *made)),
    modes.map(lambda made: (0xB0, *made)),
    st.tuples(st.just(0xC0), few),
    st.tuples(st.just(0xD0), few),
    st.tuples(st.just(0xE0), st.just(0), few),
)
messages = st.tuples(st.integers(0, 1), on_channel).map(lambda made: bytes((made[1][0] | made[0], *made[1][1:])))
streams = st.lists(st.tuples(st.integers(0, PLAYERS - 1), messages), min_size=10, max_size=60)


ALL = """
[[scenes]]
number = 1
name = "All"
routes = [
  { from = ["keys", "pads"], to = "brass" },
  { from = "foot", to = "brass", through = [ { filter = "channels", map = { 2 = 1 } } ] },
]
"""
RIG = (
    HEAD.replace(', wire = "din"', "")
    + ALL
    + """
[[scenes]]
number = 2
name = "Some"
routes = [
  { from = "keys", to = "brass" },
  { from = "pads", to = ["brass", "strings"], through = [ { filter = "channels", map = { 1 = 2 } } ] },
]
[[scenes]]
number = 3
name = "Elsewhere"
routes = [ { from = ["keys", "pads", "foot"], to = "strings" } ]
[[scenes]]
number = 4
name = "Empty"
"""
)


def merged() -> Engine:
    """Three inputs to one output; two channels of the third arrive on one."""
    engine = engine_of(read(RIG, "test"))
    recall(engine, 0, 1)
    return engine


def arriving(player: int, message: bytes) -> bytes:
    """What the route makes of it."""
    return bytes((message[0] & 0xF0, *message[1:])) if player == FOOT else message


def playable(stream: list[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    """Without presses of keys that are down already and releases of others on their channel: no keyboard sends any.

    All pedals of a player come on one channel.
    """
    down: defaultdict[int, dict[tuple[int, int], int]] = defaultdict(dict)  # key as it arrives -> channel it came on
    played = []
    for player, heard in stream:
        message = heard
        if heard[0] & 0xF0 == 0xB0 and 64 <= heard[1] < 70:  # channels of one input have pedals of their own
            message = bytes((0xB0, *heard[1:]))
        key, came = (arriving(player, message)[0] & 0x0F, message[1]), message[0] & 0x0F
        if message[0] & 0xF0 == 0x90:
            if key in down[player]:
                continue
            down[player][key] = came
        elif message[0] & 0xF0 == 0x80:
            if down[player].get(key, came) != came:
                continue
            down[player].pop(key, None)
        played.append((player, message))
    return played


@settings(max_examples=150)
@example([(2, b"\xb0\x0b\x00"), (2, b"\xb1\x79\x00"), (2, b"\xb0\x2b\x00")])
@example([(2, b"\xb0\x0b\x00"), (0, b"\xb0\x0b\x08"), (2, b"\xb1\x79\x00"), (2, b"\xb0\x2b\x00")])
@example([(2, b"\xb0\x01\x08"), (2, b"\xb1\x79\x00"), (2, b"\xb0\x01\x01"), (2, b"\xb0\x21\x00")])
@given(streams)
def test_each_player_is_heard_as_on_a_cable_of_their_own(stream: list[tuple[int, bytes]]) -> None:
    """Whatever three players send at the same time, keys, pedals, programs with their banks, parameters and their
    14-bit values, controllers and mode messages do what they do from three cables into one perfect merger."""
    engine, merger, instrument = merged(), PerfectMerger(PLAYERS), PlayedInstrument()
    cable = DecodedCable(instrument)
    for now, (player, message) in enumerate(playable(stream), 1):
        merger.hear(player, arriving(player, message), message[0] & 0x0F)
        for _, sent, _ in engine.receive(now, player, message):
            cable.hear(sent)
        assert instrument.heard() == merger.instrument.heard(), (player, message.hex(" "))
        for channel, (high, low, program) in merger.instrument.programs.items():
            actual = instrument.programs[channel]
            assert actual[2] == program
            assert high in (None, actual[0])
            assert low in (None, actual[1])


@settings(max_examples=60)
@example([(2, b"\xb0\x0b\x00"), (2, b"\xb0\x79\x00"), (0, b"\xb0\x2b\x01"), (2, b"\xb0\x79\x00")], 0)
@given(streams, st.sampled_from([0, 100_000, 700_000]))
def test_a_busy_cable_makes_no_difference(stream: list[tuple[int, bytes]], apart: int) -> None:
    """Once a slow cable has carried what waited for it, all is as behind a perfect merger."""
    engine = engine_of(read(HEAD + ALL.replace("brass", "strings"), "test"))
    recall(engine, 0, 1)
    merger, instrument = PerfectMerger(PLAYERS), PlayedInstrument()
    cable, now, out = DecodedCable(instrument), 1, []
    for player, message in playable(stream):
        now += apart
        while engine.waiting and engine.due is not None and engine.due <= now:
            out += engine.tick(engine.due)
        merger.hear(player, arriving(player, message), message[0] & 0x0F)
        out += engine.receive(now, player, message)
    for _, sent, _ in out + run_dry(engine, now)[1]:
        cable.hear(sent)
    assert instrument.heard() == merger.instrument.heard()


@settings(max_examples=80)
@given(st.integers(0, PLAYERS - 1), st.lists(messages, max_size=60))
def test_one_player_gets_the_very_same_bytes(player: int, played: list[bytes]) -> None:
    """What one player alone sends on one channel goes out byte for byte as it came in."""
    engine = merged()
    played = [bytes((message[0] & 0xF0, *message[1:])) for message in played]
    stream = [message for _, message in playable([(player, message) for message in played])]
    sent = [one for now, message in enumerate(stream, 1) for _, one, _ in engine.receive(now, player, message)]
    assert sent == [arriving(player, message) for message in stream]


happenings = st.one_of(
    st.tuples(st.just("recall"), st.integers(1, 4)),
    st.tuples(st.just("lose"), st.integers(0, PLAYERS - 1)),
    st.tuples(st.just("panic"), st.just(0)),
)


@example([(1, b"\x90\x3d\x64"), (2, b"\xb1\x01\x01"), ("recall", 4)])
@settings(max_examples=80)
@given(st.lists(st.one_of(st.tuples(st.integers(0, PLAYERS - 1), messages), happenings), max_size=60))
def test_nothing_that_was_merged_stays(stream: list[tuple[int, bytes] | tuple[str, int]]) -> None:
    """Over scene changes, unplugged inputs and panics: once all keys are up and an empty scene is in force, no note
    sounds, pedals are up, and soon wheels and bends are at rest."""
    engine, instruments = merged(), (PlayedInstrument(), PlayedInstrument())
    cables = [DecodedCable(instrument) for instrument in instruments]
    down: set[tuple[int, bytes]] = set()

    def take(sent: list[Delivery]) -> None:
        for output, message, _ in sent:
            cables[output].hear(message)

    for now, (who, what) in enumerate(stream, 1):
        if isinstance(who, int) and isinstance(what, bytes):
            off = (who, bytes((0x80 | what[0] & 0x0F, what[1], 64)))
            if what[0] & 0xF0 == 0x90:
                if off in down:
                    continue
                down.add(off)
            down.discard((who, what))
            take(engine.receive(now, who, what))
        elif isinstance(what, int) and who == "recall":
            take(recall(engine, now, what))
        elif isinstance(what, int) and who == "lose":
            down = {each for each in down if each[0] != what}
            take(input_lost(engine, now, what))
        else:
            take(command(engine, now, "panic")[1])
    for player, release in sorted(down):
        take(engine.receive(100, player, release))
    take(recall(engine, 100, 4))
    take(run_dry(engine, 100)[1])
    for instrument in instruments:
        left = instrument.heard()
        assert (left["sounding"], left["pedals"]) == (set(), {})
        assert not any(what[1] in (*RESETS, "bend", "pressure") for what in left["values"])
    assert (engine.state.ledger.sounding(), engine.state.ledger.off_rest()) == (0, 0)
