"""Words for parameters and tuning, as FluidSynth, a synth from elsewhere, obeys them."""

import math
from collections.abc import Iterable, Iterator

import pytest

from engine.midi.message_words import from_hex
from engine.midi.mpe import zone
from engine.midi.mpe_configuration import configuration
from engine.midi.setup_words import Receiver, set_up
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall
from tests.support.fluid_library import COARSE, FINE, FluidLibrary

CENT = 1.0
A = 69


@pytest.fixture
def synth() -> Iterator[FluidLibrary]:
    """A new one."""
    made = FluidLibrary()
    yield made
    made.off()


def _say(synth: FluidLibrary, words: Iterable[str], channel: int = 0) -> None:
    for each in words:
        synth.hear(set_up(each, Receiver(channel)).messages)


def _cents(one: float, other: float) -> float:
    return 1200 * math.log2(one / other)


@pytest.mark.parametrize("semitones", [0, 2, 12, 48, 72])
def test_bend_ranges(synth: FluidLibrary, semitones: int) -> None:
    """RPN 0, in two ways to say it, on its own channel alone."""
    _say(synth, [f"pitch bend range {semitones}"], 3)
    _say(synth, [f"rpn 0/0 = {semitones}"], 4)
    assert [synth.bend_range(channel) for channel in (2, 3, 4)] == [2, semitones, semitones]


@pytest.mark.parametrize("amount", [-50, 0, 25])
def test_fine_and_coarse_tuning(synth: FluidLibrary, amount: int) -> None:
    """RPN 1 is in cents, RPN 2 in semitones."""
    _say(synth, [f"fine tuning {amount}", f"coarse tuning {amount}"], 5)
    assert synth.generator(5, FINE) == pytest.approx(amount, abs=0.01)
    assert synth.generator(5, COARSE) == amount


@pytest.mark.parametrize("steps", [-3, 0, 5])
def test_nrpns(synth: FluidLibrary, steps: int) -> None:
    """NRPN 120/N sets generator N by how far the value is from the middle (SoundFont 2.04, 9.6), and nothing else. This
    synth takes it over with the MSB, a step of which is 128."""
    _say(synth, [f"nrpn 120/{FINE} = {64 + steps}"], 2)
    assert synth.generator(2, FINE) == 128 * steps
    assert synth.generator(2, COARSE) == 0
    assert synth.bend_range(2) == 2


@pytest.mark.parametrize("at_once", ["", "at once "])
@pytest.mark.parametrize("cents", [-21, 20, 50.5, -99])
def test_scale_tuning_is_heard(synth: FluidLibrary, at_once: str, cents: float) -> None:
    """The A of the tuned channel is as far from where it was, in both forms; other keys and channels stay."""
    plain, other = synth.pitch(1, A), synth.pitch(1, A + 1)
    _say(synth, [f"scale tuning {at_once}0 0 0 0 0 0 0 0 0 {cents} 0 0"], 1)
    assert _cents(synth.pitch(1, A), plain) == pytest.approx(cents, abs=CENT)
    assert _cents(synth.pitch(1, A - 12), plain) + 1200 == pytest.approx(cents, abs=2 * CENT)
    assert _cents(synth.pitch(1, A + 1), other) == pytest.approx(0, abs=CENT)
    assert _cents(synth.pitch(2, A), plain) == pytest.approx(0, abs=CENT)
    _say(synth, [f"scale tuning {at_once}equal"], 1)
    assert _cents(synth.pitch(1, A), plain) == pytest.approx(0, abs=CENT)


def test_the_configuration_of_a_zone_sets_every_range(synth: FluidLibrary) -> None:
    """A synth without MPE understands the bend range of each member, and keeps that of the manager."""
    for unit in configuration(zone(2, 15), 24):
        synth.hear(unit)
    assert [synth.bend_range(channel) for channel in range(16)] == [2, *[24] * 14, 2]


RIG = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, 8] } }
keys = { port = "b" }
[outputs]
synth = { port = "c" }
[instruments.plain]
output = "synth"
channel = 3
setup = ["pitch bend range 12"]
[[scenes]]
number = 1
name = "One"
play = [{ from = "grid", on = "plain" }]
routes = [{ from = "keys", to = "synth" }]
"""


@pytest.mark.parametrize("semitones", [2, -7, 0.5])
def test_a_bend_of_48_semitones_is_heard_on_an_ordinary_channel(synth: FluidLibrary, semitones: float) -> None:
    """A finger's bend sounds as far on a channel of 12 semitones as it does on one of 48, to a cent."""
    value = 8192 + round(semitones * 8192 / 48)
    bend = bytes((0xE3, value & 0x7F, value >> 7))
    _say(synth, ["pitch bend range 48"], 3)
    synth.hear([bend])
    plain = synth.pitch(3, A)
    engine = engine_of(read(RIG, "test"))
    synth.choose_sound(2)
    synth.hear(message for _, message, _ in recall(engine, 0, 1))
    for message in (bend, bytes((0x93, A, 100))):
        synth.hear(sent for _, sent, _ in engine.receive(1, 0, message))
    assert _cents(synth.sounding(), plain) == pytest.approx(0, abs=CENT)


def test_two_players_parameters_stay_whole(synth: FluidLibrary) -> None:
    """Their messages come in turns on one channel: each sets the parameter that it has selected."""
    engine = engine_of(read(RIG.replace('from = "keys"', 'from = ["keys", "grid"]'), "test"))
    synth.hear(message for _, message, _ in recall(engine, 0, 1))
    range_5 = ["B8 65 00", "B8 64 00", "B8 06 05", "B8 26 00"]
    tuned = ["B8 63 78", f"B8 62 {FINE:02X}", "B8 06 41", "B8 06 42"]
    for now, (one, other) in enumerate(zip(range_5, tuned, strict=True)):
        for source, message in ((0, one), (1, other)):
            synth.hear(sent for _, sent, _ in engine.receive(now, source, from_hex(message)))
    assert synth.bend_range(8) == 5
    assert synth.generator(8, FINE) == 256
