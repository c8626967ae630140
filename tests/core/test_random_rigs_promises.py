"""What the core promises, on random rigs: several inputs and outputs, chains of filters, bursts, merges."""

from collections import Counter
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.engine_calls import finish
from tests.support.pit_engine import MS
from tests.support.played_engine import Key, PlayedEngine
from tests.support.random_rigs import GEAR, INPUTS, MOVERS, STATELESS, events, rigs
from tests.support.receiver import Receiver

pytestmark = pytest.mark.slow

BYTE = 320_000  # ns per byte on DIN (MIDI 1.0 p. 1)
PEDALS = {bytes((0xB0 | channel, number)) for channel in range(16) for number in (64, 66, 67)}


@given(rigs(), events)
@settings(max_examples=50)
def test_every_note_gets_as_many_releases_as_presses(rig: str, stream: list[Any]) -> None:
    """Once every key is up no note sounds at any output, and there has been exactly one note-off for each note-on: no
    fewer, for all are owed (MIDI 1.0 p. A-4), and no more. No cable is pulled: that sends one note-off a key."""
    played = PlayedEngine(rig)
    played.perform([event for event in stream if event[1] != "lose"])
    played.let_go()
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]
    balance: Counter[Key] = Counter()
    for _, (output, message, _) in played.handed:
        if message[0] & 0xE0 == 0x80:
            pressed = message[0] & 0xF0 == 0x90 and message[2] > 0
            balance[output, message[0] & 0x0F, message[1]] += 1 if pressed else -1
    assert not {key: count for key, count in balance.items() if count}
    assert played.router.state.ledger.sounding() == 0


def _settle(output: int, channel: int) -> int:
    return next((ms * MS for to, of, ms in GEAR.values() if (to, of) == (output, channel)), 0)


def _check_triples(heard: list[tuple[int, bytes, int]]) -> None:
    messages = [message for _, message, _ in heard if message[0] < 0xF8]
    for place, message in enumerate(messages):
        if message[0] & 0xF0 == 0xB0 and message[1] == 0 and message[2] >= 100:
            channel, scene = message[0] & 0x0F, message[2] - 100
            triple = [message, bytes((0xB0 | channel, 32, 110 + scene)), bytes((0xC0 | channel, 100 + scene))]
            assert messages[place : place + 3] == triple


def _check_settling(output: int, heard: list[tuple[int, bytes, int]]) -> None:
    quiet_until: dict[int, int] = {}
    for _, message, sent in heard:
        channel = message[0] & 0x0F
        if message[0] >= 0xF0:
            continue
        assert sent >= quiet_until.get(channel, 0)
        if message[0] & 0xF0 == 0xC0 and message[1] >= 100:
            quiet_until[channel] = sent + (2 * BYTE if output == 0 else 0) + _settle(output, channel)


@given(rigs(), events)
@settings(max_examples=50)
def test_a_burst_goes_out_whole_and_its_instrument_settles(rig: str, stream: list[Any]) -> None:
    """Only real-time bytes go between bank, bank and program; the bank of one scene never meets the program of another;
    nothing is sent on that channel until its settle time is over. All on both kinds of cable."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.run_dry()
    for output in (0, 1):
        _check_triples(played.heard(output))
        _check_settling(output, played.heard(output))
    for synth in played.ears():
        for _, high, low, program in synth.selected:
            assert program < 100 or (high, low) == (program, program + 10)


@given(rigs(), events, st.integers(1, 3))
@settings(max_examples=50)
def test_every_instrument_ends_on_the_sound_of_the_scene(rig: str, stream: list[Any], scene: int) -> None:
    """Whatever was played and recalled before, after the last recall each instrument is on its scene's sound."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.recall(scene)
    played.run_dry()
    synths = played.ears()
    steps = played.router.rig.scenes[scene - 1].burst
    for output, channel, _ in (GEAR[step.instrument or ""] for step in steps):
        assert synths[output].sound[channel] == (99 + scene, 109 + scene, 99 + scene)


@given(rigs(), events)
@settings(max_examples=40)
def test_the_din_wire_is_never_overrun(rig: str, stream: list[Any]) -> None:
    """In any window at most 3,125 bytes per second, plus 3 ms and one message, are handed to the DIN output; none is
    further ahead than that."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.run_dry()
    heard = played.heard(0)
    longest = max((len(message) for _, message, _ in heard), default=0)
    free_at = 0
    for at, message, _ in heard:
        free_at = max(free_at, at) + len(message) * BYTE
        assert free_at - at <= 3 * MS + longest * BYTE


def _lasting(rig: str, stream: list[Any]) -> Counter[bytes]:
    """What the first output was sent that no newer message may replace: notes, pedals, programs, system messages."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.run_dry()
    assert not played.router.state.cables[0].counts.shed
    messages = [message for _, message, _ in played.heard(0)]
    return Counter(m for m in messages if m[0] & 0xF0 in (0x80, 0x90, 0xC0, 0xF0) or m[:2] in PEDALS)


@given(rigs(), events)
@settings(max_examples=40)
def test_a_full_wire_loses_nothing_and_repeats_nothing(rig: str, stream: list[Any]) -> None:
    """What may not be dropped arrives over a DIN cable exactly as often as over one that is never full."""
    music = [event for event in stream if event[1] in ("play", "chord", "let go")]
    assert _lasting(rig, music) == _lasting(rig.replace('wire = "din"', 'wire = "fast"'), music)


def _can_be_moved(rig: str, scene: int) -> list[set[tuple[int, str, int]]]:
    """Everything that any input can move off rest at each output in a scene, found by trying one message at a time."""
    played = PlayedEngine(rig, scene)
    for source, channel in product(range(len(INPUTS)), range(4)):  # no rig here tells higher channels apart
        for number, value in product(MOVERS, (0, 33, 127)):
            played.play(source, bytes((0xB0 | channel, number, value)))
        for key in range(128):
            played.play(source, bytes((0xA0 | channel, key, 99)))
        for wheel in ((0xE0 | channel, 1, 2), (0xD0 | channel, 99)):
            played.play(source, bytes(wheel))
    moved: list[set[tuple[int, str, int]]] = [set(), set()]
    for _, (output, message, _) in played.handed:
        synth = Receiver()
        synth.hear(message)
        moved[output] |= synth.off_rest
    return moved


@given(rigs(STATELESS, bursts=False), events, st.integers(1, 4))
@settings(max_examples=25)
def test_what_nothing_can_move_any_more_is_at_rest(rig: str, stream: list[Any], scene: int) -> None:
    """After a recall, pedals, bends, wheels and pressures that the new scene does not feed are at rest (RP-015), once
    keys and pedals are up."""
    rig = rig.replace('wire = "din"', 'wire = "fast"')
    played = PlayedEngine(rig)
    played.perform(stream)
    played.recall(scene)
    played.let_go()
    played.lift_pedals()
    played.run_dry()
    for synth, movable in zip(played.ears(), _can_be_moved(rig, scene), strict=True):
        assert synth.off_rest <= movable


@given(rigs(), events)
@settings(max_examples=40)
def test_an_empty_scene_leaves_everything_at_rest(rig: str, stream: list[Any]) -> None:
    """In a scene that feeds nothing, everything is at rest once keys and pedals are up, on both kinds of cable and
    whatever was waiting."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.recall(4)
    played.let_go()
    played.lift_pedals()
    played.run_dry()
    assert [synth.off_rest for synth in played.ears()] == [set(), set()]


@given(rigs(), events, st.integers(0, 1))
@settings(max_examples=50)
def test_a_panic_silences_whatever_waits(rig: str, stream: list[Any], again: int) -> None:
    """After a panic no note sounds and all is at rest, even if the receiver ignores All Notes Off and every key is
    still held; a note played then sounds and is released."""
    played = PlayedEngine(rig)
    played.perform(stream)
    for _ in range(1 + again):
        played.panic()
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]
    assert [synth.off_rest for synth in played.ears()] == [set(), set()]
    played.let_go()
    played.play(0, b"\x90\x3c\x40")
    played.let_go()
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]


@given(rigs(), events)
@settings(max_examples=40)
def test_the_end_of_the_show_is_silent(rig: str, stream: list[Any]) -> None:
    """Every note off, every pedal, bend and wheel at rest once the cables are empty."""
    played = PlayedEngine(rig)
    played.perform(stream)
    played.take(finish(played.router, played.now))
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]
    assert [synth.off_rest for synth in played.ears()] == [set(), set()]
