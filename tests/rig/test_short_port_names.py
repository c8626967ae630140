"""What ports are called in a rig that `bayleaf new` writes."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.rig.short_port_names import short_names


@pytest.mark.parametrize(
    ("ports", "names"),
    [
        # JACK: the client's name where the port's own says nothing (jack_lsp of the programs named; names invented)
        (["choir synth:midi_00"], ["choir-synth"]),
        (["organ-midi:midi-00-3", "piano:out"], ["organ", "piano"]),
        (["Stage desk:left hand", "Stage desk:right hand"], ["left-hand", "right-hand"]),
        (["Box:MIDI out 1", "Box:MIDI out 2"], ["box-1", "box-2"]),
        (["Left:main", "Right:main"], ["left-main", "right-main"]),
        # ALSA: CLIENT:PORT, the port's own name repeats the client's
        (["Stage piano:Stage piano MIDI 1"], ["stage-piano"]),
        (
            ["Eight-way box:Eight-way box MIDI 1", "Eight-way box:Eight-way box MIDI 2"],
            ["eight-way-box-1", "eight-way-box-2"],
        ),
        # ALSA's ports as a bridge shows them on JACK
        (["bridge:Stage piano [20] (capture): Stage piano MIDI 1"], ["stage-piano"]),
        (["Midi-Bridge:Stage piano:(capture_0) Stage piano MIDI 1"], ["stage-piano"]),
        (["system:midi_capture_1", "system:midi_capture_2"], ["midi-1", "midi-2"]),
        # CoreMIDI and WinMM: no client
        (["Foot controller", "Drum pads"], ["foot-controller", "drum-pads"]),
        (["Orgel Größe"], ["orgel-grosse"]),
        (["Synth", "Synth"], ["synth", "synth-2"]),
        (["鍵盤", ""], ["midi", "midi-2"]),
    ],
)
def test_a_port_is_called_after_its_gear(ports: list[str], names: list[str]) -> None:
    """The shortest name that tells the gear, and one port from the other. (Port names as the drivers form them: ALSA
    and JACK joined by a colon, RtMidi 5.0.0; bridges: common practice, no source.)"""
    assert short_names(ports) == names


@settings(deadline=None)
@given(st.lists(st.text(alphabet=st.sampled_from("ab1:-2 (é"), max_size=8), max_size=8))
def test_names_are_different_bare_keys(ports: list[str]) -> None:
    """Whatever ports are called, each gets a name of its own that TOML takes without quotes (TOML 1.0, bare keys)."""
    names = short_names(ports)
    assert len(set(names)) == len(ports)
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names)
