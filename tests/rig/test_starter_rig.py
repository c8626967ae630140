"""The rig that `bayleaf new` writes, and the demo rig."""

from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.ports.open_system import lasting
from engine.ports.port_names import resolve
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.read.load import read
from engine.rig.starter_rig import starter

PORTS = ["Eight-way box:Eight-way box MIDI 1 20:0", "Eight-way box:Eight-way box MIDI 2 20:1", "Pads [old]*:out 24:0"]


@pytest.mark.parametrize(
    ("inputs", "outputs"), [(PORTS, PORTS), (PORTS[:1], []), ([], PORTS), ([], []), (["Synth"], ["Synth"])]
)
def test_a_starter_rig_loads_whatever_is_connected(inputs: list[str], outputs: list[str]) -> None:
    """The starter rig loads without error for every set of connected ports, including none."""
    rig = read(starter(lasting("alsa", inputs), lasting("alsa", outputs)), "new.toml")
    assert len(rig.scenes) == 2
    assert rig.inputs
    assert rig.outputs


def test_a_starter_rig_finds_its_ports_again_after_a_replug() -> None:
    """Each pattern still matches its own port when the system's numbers have changed (ALSA sequencer: client:port)."""
    rig = read(starter(lasting("alsa", PORTS), []), "new.toml")
    replugged = [port.replace("20:", "28:").replace("24:", "32:") for port in PORTS]
    assert [resolve(str(port.port), replugged) for port in rig.inputs.values()] == replugged


def test_ports_of_one_name_are_distinguished() -> None:
    """Two boxes of the same model get two names and two patterns, one for the first and one for the second."""
    twins = ["Box:Box MIDI 1 20:0", "Box:Box MIDI 1 24:0"]
    rig = read(starter(lasting("alsa", twins), []), "new.toml")
    assert [resolve(str(port.port), twins) for port in rig.inputs.values()] == twins


def test_a_starter_rig_for_names_that_end_in_an_index() -> None:
    """WinMM appends an index to every name, which changes after a replug (RtMidi 5.0.0, MidiInWinMM)."""
    before, after = ["Box 0", "Pads 1", "Box 2"], ["Keys 0", "Box 1", "Box 2", "Pads 3"]
    rig = read(starter(lasting("winmm", before), []), "new.toml")
    found = [resolve(str(port.port), after, indexed=True) for port in rig.inputs.values()]
    assert found == ["Box 1", "Pads 3", "Box 2"]


def test_without_ports_the_starter_says_what_to_do() -> None:
    """With nothing connected the text says how to continue."""
    assert "No MIDI ports were found" in starter([], [])


@settings(max_examples=60)
@given(st.lists(st.text(max_size=12), max_size=4), st.lists(st.text(max_size=12), max_size=4))
def test_no_port_name_breaks_the_starter(inputs: list[str], outputs: list[str]) -> None:
    """Whatever a driver calls its ports, the starter rig loads."""
    read(starter(inputs, outputs), "new.toml")


def test_the_demo_rig_shows_what_a_rig_can_say() -> None:
    """The demo rig loads, and has splits, every kind of bank select, a set list and the controls of a show."""
    rig = read(files("presets").joinpath("demo.toml").read_text(encoding="utf-8"), "demo.toml")
    assert {gear.bank for gear in rig.instruments.values()} == {"none", "msb", "lsb", "msb lsb"}
    assert len(rig.scenes) >= 4
    assert {control.do for control in rig.controls} == {"scene", "next", "back", "panic"}
    lowering = Lowering(rig)
    routes = [
        *lowering.routes(rig.routes, "route"),
        *(one for each in rig.scenes for one in lowering.lowered(each).routes),
    ]
    used = {one.filter for route in routes for one in route.through}
    assert {"zone", "transpose", "notes", "add_bank", "channels"} <= used
