"""Several players on one channel: the instrument sounds as if a perfect merger stood before it (hypothesis)."""

from collections import defaultdict

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall
from tests.support.perfect_merger import DecodedCable, PerfectMerger, PlayedInstrument
from tests.support.random_rigs import HEAD

PLAYERS, BRASS = 3, 1

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
streams = st.lists(st.tuples(st.integers(0, PLAYERS - 1), messages), max_size=60)


def merged() -> Engine:
    """Three inputs, straight to one output."""
    routes = 'routes = [ { from = ["keys", "pads", "foot"], to = "brass" } ]'
    engine = engine_of(read(f'{HEAD}[[scenes]]\nnumber = 1\nname = "All"\n{routes}\n', "test"))
    recall(engine, 0, 1)
    return engine


def playable(stream: list[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    """Without presses of keys that are down already, which no keyboard can send."""
    down: defaultdict[int, set[tuple[int, int]]] = defaultdict(set)
    played = []
    for player, message in stream:
        key = (message[0] & 0x0F, message[1])
        if message[0] & 0xF0 == 0x90:
            if key in down[player]:
                continue
            down[player].add(key)
        elif message[0] & 0xF0 == 0x80:
            down[player].discard(key)
        played.append((player, message))
    return played


@settings(deadline=None, max_examples=400)
@given(streams)
def test_each_player_is_heard_as_on_a_cable_of_their_own(stream: list[tuple[int, bytes]]) -> None:
    """Whatever three players send at the same time, keys, pedals, programs with their banks, parameters and their
    14-bit values, controllers and mode messages do what they do from three cables into one perfect merger."""
    engine, merger, instrument = merged(), PerfectMerger(PLAYERS), PlayedInstrument()
    cable = DecodedCable(instrument)
    for now, (player, message) in enumerate(playable(stream), 1):
        merger.hear(player, message)
        for _, sent, _ in engine.receive(now, player, message):
            cable.hear(sent)
        assert instrument.heard() == merger.instrument.heard(), (player, message.hex(" "))
        for channel, (high, low, program) in merger.instrument.programs.items():
            actual = instrument.programs[channel]
            assert actual[2] == program
            assert high in (None, actual[0])
            assert low in (None, actual[1])


@settings(deadline=None, max_examples=200)
@given(st.integers(0, PLAYERS - 1), st.lists(messages, max_size=60))
def test_one_player_gets_the_very_same_bytes(player: int, played: list[bytes]) -> None:
    """What one player alone sends goes out byte for byte as it came in."""
    engine = merged()
    stream = [message for _, message in playable([(player, message) for message in played])]
    sent = [one for now, message in enumerate(stream, 1) for _, one, _ in engine.receive(now, player, message)]
    assert sent == stream
