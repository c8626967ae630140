"""After each fault FluidSynth, a synth from elsewhere, has no voice left and is on the scene's sounds by name."""

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.support.engine_process import Engine
from tests.support.fluidsynth import LEAD, FluidSynth
from tests.support.jack_ends import Player
from tests.support.waiting import until

RIG = (
    """
format = 1
[inputs]
keys = { port = "Stage piano*" }
foot = { port = "Foot controller*" }
"""
    + LEAD
    + """[[scenes]]
number = 1
name = "Church"
routes = [ { from = "keys", to = "synth" } ]
burst = [
  { instrument = "lead", sound = "Church" },
  { output = "synth", channel = 3, bank = [0, 0], program = 12 },
]
[[scenes]]
number = 2
name = "Electric"
held = "cut"
burst = [ { instrument = "lead", sound = "Electric" } ]
[[scenes]]
number = 3
name = "Church again"
burst = [ { instrument = "lead", sound = "Church" } ]
[[controls]]
input = "foot"
when = { program = "any" }
do = "scene"
[[controls]]
input = "foot"
when = { note = 36 }
do = "panic"
"""
)


@dataclass
class SynthRig:
    """Everything that plays into one FluidSynth."""

    synth: FluidSynth
    engine: Engine
    piano: Player
    foot: Player

    def returns(self) -> int:
        """How often the port to the synth was opened again."""
        answer = self.engine.request("status")
        port = answer["status"]["outputs"][0] if answer else {}
        return port["returns"] if port and port["state"] == "open" else -1


@pytest.fixture
def pit(synth: FluidSynth, tmp_path: Path) -> Iterator[SynthRig]:
    """An organ chord is held: one key down, one released under the pedal."""
    piano, foot = Player("Stage piano"), Player("Foot controller")
    engine = Engine(tmp_path, RIG, "--backend", "jack")
    try:
        engine.start()
        until("the organ", lambda: synth.sound(1) == "Church Organ")
        for message in ("90 3C 64", "B0 40 7F", "90 40 64", "80 40 00", "E0 00 60"):
            piano.play(bytes.fromhex(message))
        until("both keys' voices", lambda: synth.voices() >= 2)
        yield SynthRig(synth, engine, piano, foot)
    finally:
        engine.kill()
        piano.pull()
        foot.pull()


def the_input_is_pulled(pit: SynthRig) -> None:
    """The piano's cable is pulled out."""
    pit.piano.pull()


def a_panic(pit: SynthRig) -> None:
    """By foot, with everything still held."""
    pit.foot.play(bytes.fromhex("90 24 64"))


def a_scene_that_cuts(pit: SynthRig) -> None:
    """A scene with held = "cut", with everything still held."""
    pit.foot.play(bytes.fromhex("C0 01"))


def a_scene_that_lets_ring(pit: SynthRig) -> None:
    """A scene without the player's input: the chord rings on until key and pedal are up."""
    pit.foot.play(bytes.fromhex("C0 02"))
    pit.piano.keys_up()
    assert pit.synth.voices() >= 1
    pit.piano.play(bytes.fromhex("B0 40 00"))


def active_sensing_ceases(pit: SynthRig) -> None:
    """The piano's active sensing stops."""
    pit.piano.play(b"\xfe")


def the_engine_ends(pit: SynthRig) -> None:
    """Ended as its user ends it."""
    pit.engine.end()


def the_engine_is_killed(pit: SynthRig) -> None:
    """Killed, and started again."""
    pit.engine.kill()
    assert pit.synth.voices() >= 2
    pit.engine.start()


def the_synth_is_unplugged(pit: SynthRig) -> None:
    """The cable comes out, the keys go up, the cable goes in again."""
    before = pit.returns()
    synth = "fluidsynth-midi:midi_00"
    listed = subprocess.run(["jack_lsp", "-c", synth], check=True, capture_output=True, text=True).stdout.splitlines()
    (ours,) = (line.strip() for line in listed if line.startswith(" "))  # what it is connected to is indented
    subprocess.run(["jack_disconnect", ours, synth], check=True, capture_output=True)
    pit.piano.hands_off()
    until("the cable put in again", lambda: pit.returns() > before)


def the_synth_is_switched_off_and_on(pit: SynthRig) -> None:
    """It has forgotten everything, and is sent its sounds again."""
    before = pit.returns()
    pit.synth.off()
    pit.synth.start()
    until("the synth found again", lambda: pit.returns() > before)


CHURCH, ELECTRIC = "Church Organ", "E.Piano 1"  # TimGM6mb's own preset list


@pytest.mark.parametrize(
    ("fault", "sound"),
    [
        (the_input_is_pulled, CHURCH),
        (a_panic, CHURCH),
        (a_scene_that_cuts, ELECTRIC),
        (a_scene_that_lets_ring, CHURCH),
        (active_sensing_ceases, CHURCH),
        (the_engine_ends, CHURCH),
        (the_engine_is_killed, CHURCH),
        (the_synth_is_unplugged, CHURCH),
        (the_synth_is_switched_off_and_on, CHURCH),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_no_voice_is_left_after(pit: SynthRig, fault: Callable[[SynthRig], None], sound: str) -> None:
    """With a key held and the pedal down, no voice sounds after the fault, and each channel is on the scene's sound."""
    fault(pit)
    until("silence", lambda: pit.synth.voices() == 0)
    until("the scene's lead", lambda: pit.synth.sound(1) == sound)
    until("the scene's vibraphone", lambda: pit.synth.sound(3) == "Vibraphone")
