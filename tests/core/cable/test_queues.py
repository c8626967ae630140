"""A flood on a DIN cable: the queues are bounded, nothing hangs, dropped messages are counted, other outputs play
on."""

from collections.abc import Iterable
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.bulk_queue import MOST_BYTES
from engine.core.cable.output_cable import CableCounts, Delivery
from engine.core.cable.queues import MOST_NOTES, MOST_RELEASES, MOST_URGENT, CableQueues
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN
from engine.core.engine import Engine
from engine.midi.controllers import HOLDING
from engine.rig.read.load import read
from tests.support.engine_calls import command, engine_of, recall
from tests.support.pit_engine import MS, PORTS, ears, run_dry
from tests.support.receiver import Receiver

STRINGS, BRASS = 0, 1
KEYS, PADS = 0, 1
GAP = 1_000_000_000 // 30_000  # ns between messages of a broken device
CHAIN = 'through = [ { filter = "add_bank", channels = { 1 = [8, 9], 2 = [8, 9] } } ]'


def flooded(chain: str = "") -> Engine:
    """The keys flood the strings, on a DIN cable; the pads play the brass."""
    router = engine_of(
        read(
            PORTS.replace("WIRE", "din")
            + f'[[scenes]]\nnumber = 1\nname = "Flood"\nroutes = [ {{ from = "keys", to = "strings"{chain} }}, '
            + '{ from = "pads", to = "brass" } ]\nburst = [ { instrument = "lead", sound = "A" } ]\n'
            + '[[scenes]]\nnumber = 2\nname = "Empty"\n',
            "test",
        )
    )
    recall(router, 0, 1)
    return router


def broken_device(count: int, seed: int) -> Iterable[bytes]:
    """Messages of all kinds, among them releases of keys that are down and of keys that are not."""
    dice = Random(seed)
    for _ in range(count):
        channel, one, two = dice.randrange(3), dice.randrange(128), dice.randrange(128)
        yield dice.choice(
            (
                bytes((0x90 | channel, one, two or 1)),
                bytes((0x80 | channel, one, two)),
                bytes((0x90 | channel, one, 0)),
                bytes((0xB0 | channel, dice.choice((1, 7, 11, 64, 66, 67, 69)), two)),
                bytes((0xA0 | channel, one, two)),
                bytes((0xE0 | channel, one, two)),
                bytes((0xC0 | channel, one)),
                bytes((0xF8 + dice.choice((0, 2, 3, 4)),)),
                bytes((0xF1, one)),
                b"\xf0\x7d" + bytes(dice.choice((4, 100))) + b"\xf7",
            )
        )


def pour(router: Engine, stream: Iterable[bytes], now: int = 0) -> tuple[int, list[Delivery], list[bytes]]:
    """The keys send this at full speed; returns the time afterwards, what came out, and what went in."""
    out: list[Delivery] = []
    poured = []
    for message in stream:
        now += GAP
        if router.due is not None and router.due <= now:
            out += router.tick(now)
        out += router.receive(now, KEYS, message)
        poured.append(message)
        assert_bounded(router)
    return now, out, poured


def queues_of(router: Engine) -> CableQueues:
    cable = router.state.cables[STRINGS]
    assert isinstance(cable, Cable)
    return cable.queues


def assert_bounded(router: Engine) -> None:
    """The queues of the flooded cable keep to their bounds; beyond them there are no more releases than presses."""
    queues = queues_of(router)
    assert len(queues.notes) <= 2 * MOST_NOTES
    assert len(queues.urgent) <= MOST_URGENT
    assert len(queues.code) <= MOST_URGENT
    assert len(queues.values) <= 3 * (128 + 128 + 3)  # three channels: controllers, key pressures, and the like


def all_up(router: Engine, now: int, poured: list[bytes]) -> list[Delivery]:
    """The player lifts every finger: each key gets as many releases as presses, counting those already sent."""
    down: dict[tuple[int, int], int] = {}
    for message in poured:
        key = (message[0] & 0x0F, message[1]) if message[0] & 0xE0 == 0x80 else None
        if key is not None:
            pressed = message[0] & 0xF0 == 0x90 and message[2] > 0
            down[key] = max(0, down.get(key, 0) + (1 if pressed else -1))
    out: list[Delivery] = []
    for (channel, number), count in down.items():
        for _ in range(count):
            out += router.receive(now, KEYS, bytes((0x80 | channel, number, 64)))
    return out


@pytest.mark.parametrize(("seed", "chain"), [(1, ""), (2, f", {CHAIN}")], ids=["plain", "with banks"])
def test_a_flood_of_everything(seed: int, chain: str) -> None:
    """With 30,000 messages of all kinds in a second, the queues stay bounded, dropped messages are
    counted, every press that went out gets its release, and the last setting of each pedal, wheel and program
    arrives."""
    router = flooded(chain)
    now, out, poured = pour(router, broken_device(30_000, seed))
    out += all_up(router, now, poured)
    assert router.state.cables[STRINGS].counts.shed > 0
    now, rest = run_dry(router, now)
    out += rest
    synth = ears(out)[STRINGS]
    assert synth.held == 0
    assert router.state.ledger.sounding() == 0
    for channel in range(3):
        for number in (1, 7, 11, 64, 66, 67, 69):
            name = bytes((0xB0 | channel, number))
            assert last(synth.log, name) == last(poured, name)
        for status in (0xC0, 0xE0):
            assert last(synth.log, bytes((status | channel,))) == last(poured, bytes((status | channel,)))


def last(messages: list[bytes], name: bytes) -> bytes:
    """The last message with this beginning."""
    return next(message for message in reversed(messages) if message.startswith(name))


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 127)), min_size=1, max_size=30), st.integers(0, 40))
@settings(max_examples=15)
def test_a_pedal_ends_as_it_was_last(moves: list[tuple[int, int]], spread: int) -> None:
    """Whether the cable is full, nearly full or half empty at each pedal move, the last move is what remains."""
    router = flooded()
    now, out = 100 * MS, run_dry(router, 0)[1]
    for key in range(MOST_NOTES):
        out += router.receive(now, KEYS, bytes((0x90, key % 128, 64)))
    for place, (channel, value) in enumerate(moves):
        now += place * spread * MS // 10
        out += router.tick(now)
        out += router.receive(now, KEYS, bytes((0xB0 | channel, 64, value)))
        out += router.receive(now, KEYS, bytes((0xC0 | channel, value)))
    out += run_dry(router, now)[1]
    heard = [message for to, message, _ in out if to == STRINGS]
    for channel in {channel for channel, _ in moves}:
        value = [value for on, value in moves if on == channel][-1]
        assert last(heard, bytes((0xB0 | channel, 64))) == bytes((0xB0 | channel, 64, value))
        assert last(heard, bytes((0xC0 | channel,))) == bytes((0xC0 | channel, value))


def test_a_bank_stays_before_its_program_on_a_full_wire() -> None:
    """If two sounds are chosen while the cable is full, the newer one arrives, its bank first (MIDI 1.0 p. 13)."""
    router = flooded()
    now, out = 100 * MS, run_dry(router, 0)[1]
    for key in range(MOST_NOTES + 200):
        out += router.receive(now, KEYS, bytes((0x91, key % 128, 64)))
    for message in ("C1 05", "B1 00 01", "B1 20 02", "C1 06", "B1 00 03", "B1 20 04", "C1 07"):
        out += router.receive(now, KEYS, bytes.fromhex(message))
    out += run_dry(router, now)[1]
    assert ears(out)[STRINGS].sound[1] == (3, 4, 7)


def test_a_release_is_never_shed() -> None:
    """A full cable drops presses together with their releases; a press that went out always gets its release."""
    router = flooded()
    now, out = 100 * MS, run_dry(router, 0)[1]
    for _ in range(3):
        for channel in range(16):
            for key in range(128):
                out += router.receive(now, KEYS, bytes((0x90 | channel, key, 64)))
    shed = router.state.cables[STRINGS].counts.shed
    assert shed > 0
    for _ in range(3):
        for channel in range(16):
            for key in range(128):
                out += router.receive(now, KEYS, bytes((0x80 | channel, key, 64)))
    out += run_dry(router, now)[1]
    heard = [message for to, message, _ in out if to == STRINGS]
    ons = [message for message in heard if message[0] & 0xF0 == 0x90]
    assert len(ons) == sum(message[0] & 0xF0 == 0x80 for message in heard) >= 3 * 16 * 128 - shed
    assert ears(out)[STRINGS].held == 0


def test_a_full_cable_takes_one_stray_release_of_each_key() -> None:
    """Releases whose presses are not known, such as those of a switch that was down before the start, arrive once for
    each key, however many come, and those of the next flood again."""
    router = flooded()
    now = 100 * MS
    for _ in range(2):
        out = run_dry(router, now)[1]
        for number in range(MOST_NOTES + 200):
            out += router.receive(now, KEYS, bytes((0x91, number % 128, 64)))
        shed = router.state.cables[STRINGS].counts.shed
        for number in range(1000):
            out += router.receive(now, KEYS, bytes((0x80, number % 8, 64)))
        assert router.state.cables[STRINGS].counts.shed == shed + 992
        now, rest = run_dry(router, now)
        heard = [message for to, message, _ in out + rest if to == STRINGS and message[0] == 0x80]
        assert heard == [bytes((0x80, key, 64)) for key in range(8)]
        now += MS


def test_a_cable_without_a_ledger_bounds_its_releases() -> None:
    """The cable of a machine that lends knows of no presses: of each key it takes a few releases beyond its bound."""
    cable, out = Cable(STRINGS, DIN), list[Delivery]()
    for number in range(60_000):
        cable.put(0, (bytes((0x90, number % 4, 64)),), out)
        cable.put(0, (bytes((0x80, number % 4, 64)),), out)
    assert len(cable.queues.notes) <= MOST_NOTES + 4 * MOST_RELEASES
    while cable.due is not None:
        cable.flush(cable.due, out)
    heard = Receiver()
    for _, message, _ in out:
        heard.hear(message)
    assert heard.held == 0


def test_after_a_panic_a_full_cable_is_soon_free() -> None:
    """Of the releases that wait when a panic comes, one for each key stays; a note then begins within a second."""
    router = flooded()
    now = 100 * MS
    for number in range(2 * MOST_NOTES):
        router.receive(now, KEYS, bytes((0x90, number // 2 % 128, 64 * (1 - number % 2))))
    out = command(router, now, "panic", None, "test")[1]
    assert sum(unit[0][0] == 0x90 for unit in queues_of(router).notes) <= 128
    end, rest = run_dry(router, now)
    heard = Receiver()
    for _, message, _ in [each for each in out + rest if each[0] == STRINGS]:
        heard.hear(message)
    assert heard.held == 0
    assert end - now < 1000 * MS


def test_other_outputs_are_untouched() -> None:
    """While the strings' cable is flooded, each note of the pads reaches the brass at once, and none is lost."""
    router = flooded()
    now, heard, expected = 0, [], []
    for place, message in enumerate(broken_device(30_000, 3)):
        now += GAP
        out = router.tick(now) if router.due is not None and router.due <= now else []
        out += router.receive(now, KEYS, message)
        if place % 300 == 0:
            hit = bytes((0x90, 36 + place // 300 % 12, 100))
            for each in (hit, bytes((0x80, hit[1], 64))):
                out += router.receive(now, PADS, each)
                expected.append((now, each))
        heard += [(sent, message) for to, message, sent in out if to == BRASS]
    assert heard == expected
    assert router.state.cables[BRASS].counts.shed == 0


def test_the_wire_works_when_the_flood_is_over() -> None:
    """Once the queue is empty, a note goes out at once and a scene change sends its whole burst."""
    router = flooded()
    now, out, poured = pour(router, broken_device(20_000, 4))
    all_up(router, now, poured)
    now, _ = run_dry(router, now)
    assert router.due is None
    now += 1000 * MS
    assert [d for d in router.receive(now, KEYS, b"\x91\x3c\x40") if d[0] == STRINGS] == [
        (STRINGS, b"\x91\x3c\x40", now)
    ]
    shed = router.state.cables[STRINGS].counts.shed
    out = recall(router, now + MS, 1)
    now, rest = run_dry(router, now + MS)
    assert [message.hex(" ") for to, message, _ in out + rest if to == STRINGS][-3:] == [
        "b0 00 01",
        "b0 20 0b",
        "c0 14",
    ]
    assert router.state.cables[STRINGS].counts.shed == shed


def test_a_change_of_scene_during_a_flood() -> None:
    """In the middle of a flood the new scene's sounds arrive complete and on time. With keys and pedals up an
    empty scene is at rest."""
    router = flooded()
    now, out, poured = pour(router, broken_device(15_000, 5))
    out += recall(router, now, 1)
    begin = len(out)
    now, more, also = pour(router, broken_device(3_000, 6), now)
    out += more
    at_once = [message for to, message, sent in out[begin - 1 :] if to == STRINGS and message[0] < 0xF0]
    places = [place for place, message in enumerate(at_once) if message == b"\xb0\x00\x01"]
    assert places
    assert at_once[places[0] : places[0] + 3] == [b"\xb0\x00\x01", b"\xb0\x20\x0b", b"\xc0\x14"]
    out += recall(router, now, 2)
    out += all_up(router, now, poured + also)
    for source, status, number in product(range(len(router.inputs)), range(0xB0, 0xC0), HOLDING):
        out += router.receive(now, source, bytes((status, number, 0)))
    out += run_dry(router, now)[1]
    synth = ears(out)[STRINGS]
    assert (synth.held, synth.off_rest) == (0, set())


@pytest.mark.parametrize("message", [b"\xf8", b"\xfe", b"\xf2\x10\x20", b"\xf1\x24"])
def test_a_flood_of_clocks_is_bounded(message: bytes) -> None:
    """Real-time bytes and time code too old to be of use are dropped; the others take turns with the rest: a note
    played during the flood goes out with no more than a few of them before it."""
    router = flooded()
    now, _ = run_dry(router, 0)
    poured_at = now
    _, out, _ = pour(router, [message] * 30_000, now)
    now = poured_at + 30_000 * GAP
    shed = router.state.cables[STRINGS].counts.shed
    heard = sum(each == message and to == STRINGS for to, each, _ in out)
    assert shed >= 30_000 - heard - 2 * MOST_URGENT
    out = router.receive(now, KEYS, b"\x91\x3c\x40")
    out += pour(router, [message] * 3_000, now)[1]
    (sent,) = [sent for to, each, sent in out if each == b"\x91\x3c\x40"]
    assert sent - now <= 6 * len(message) * DIN.byte_ns + 8 * DIN.byte_ns + 4 * MS


def test_a_flood_of_dumps_is_bounded() -> None:
    """Long SysEx that would take over about twenty minutes of the cable is dropped and counted, never cut in two."""
    router = flooded()
    dump = b"\xf0\x7d" + bytes(65_000) + b"\xf7"
    out = run_dry(router, 0)[1]
    for _ in range(100):
        out += router.receive(100 * MS, KEYS, dump)
    queues = queues_of(router)
    assert sum(map(len, queues.bulk)) <= MOST_BYTES
    assert router.state.cables[STRINGS].counts.shed == 100 - len([*queues.bulk]) - 1
    out += run_dry(router, 100 * MS)[1]
    assert {message for to, message, _ in out if to == STRINGS and len(message) > 1000} == {dump}


def test_a_panic_ends_a_flood() -> None:
    """A panic on a flooded cable goes first; once the owed releases have gone out, all is silent."""
    router = flooded()
    now, out, _ = pour(router, broken_device(30_000, 7))
    before = len(queues_of(router).notes)
    out += command(router, now, "panic", None, "test")[1]
    assert len(queues_of(router).notes) < before
    out += recall(router, now, 2)
    out += run_dry(router, now)[1]
    synth = ears(out)[STRINGS]
    assert (synth.held, synth.off_rest) == (0, set())


def test_a_reset_keeps_its_place_among_the_values_of_its_channel() -> None:
    """A value that came before Reset All Controllers goes before it and is not replaced by one that came after it;
    those of other channels wait as ever. (RP-015)"""
    queues = CableQueues((), CableCounts())
    other, older, reset, newer = bytes((0xB4, 1, 50)), bytes((0xB3, 1, 50)), bytes((0xB3, 121, 0)), bytes((0xB3, 1, 60))
    for message in (other, older, reset, newer):
        queues.line_up((message,))
    assert list(queues.notes) == [(older,), (reset,)]
    assert list(queues.values.values()) == [(other,), (newer,)]


def test_a_full_cable_keeps_so_many_releases_of_each_key() -> None:
    """Beyond them a release is shed; each key of each channel is counted by itself, from when there was room last."""
    counts = CableCounts()
    queues = CableQueues((), counts)
    for number in range(MOST_NOTES):
        queues.line_up((bytes((0x90, number % 128, 64)),))
    for key, channel in ((60, 0), (61, 0), (60, 1)):
        before = len(queues.notes)
        for _ in range(MOST_RELEASES):
            queues.line_up((bytes((0x80 | channel, key, 64)),))
        assert (len(queues.notes) - before, counts.shed) == (MOST_RELEASES, 0)
    for number in range(3):
        queues.line_up((bytes((0x80, 60, 64)),))
        assert counts.shed == number + 1
