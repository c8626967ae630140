"""Patterns and the system's port names. How drivers name ports: read in RtMidi 5.0.0."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.ports.port import PortError
from engine.ports.port_names import plain, resolve

ALSA = [
    "Midi Through:Midi Through Port-0 14:0",
    "Eight-way box:Eight-way box MIDI 1 24:0",
    "Eight-way box:Eight-way box MIDI 2 24:1",
    "Stage piano:Stage piano MIDI 1 28:0",
    "Pad:Pad MIDI 1 32:0",
    "Pad:Pad MIDI 1 36:0",
]
WINMM = ["Stage piano 0", "Pad 1", "Pad 2", "Pad 12 3"]


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("Stage piano*", "Stage piano:Stage piano MIDI 1 28:0"),
        ("stage PIANO*", "Stage piano:Stage piano MIDI 1 28:0"),
        ("*box*1", "Eight-way box:Eight-way box MIDI 1 24:0"),
        ("*box MIDI [2-8]", "Eight-way box:Eight-way box MIDI 2 24:1"),
        ("*Port-?", "Midi Through:Midi Through Port-0 14:0"),
        ("Stage piano:Stage piano MIDI 1", "Stage piano:Stage piano MIDI 1 28:0"),
        ("Pad:Pad MIDI 1 36:0", "Pad:Pad MIDI 1 36:0"),
        ("Pad:Pad MIDI 1 #1", "Pad:Pad MIDI 1 32:0"),
        ("Pad* #2", "Pad:Pad MIDI 1 36:0"),
    ],
)
def test_patterns_mean_one_port(pattern: str, name: str) -> None:
    """A pattern is compared with the name without ALSA's numbers, in any case; "#2" means the second of equal names."""
    assert resolve(pattern, ALSA) == name


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        ("Grand*", r'^no port matches "Grand\*"; there are "Midi Through.* 14:0", .*"Pad:Pad MIDI 1 36:0"$'),
        ("Stage piano", "no port matches"),
        ("*box*", r'matches 2 ports \(".* 24:0", ".* 24:1"\); make the pattern longer'),
        ("Pad*", r'matches 2 ports \(".* 32:0", ".* 36:0"\); they have the same name: write "Pad:Pad MIDI 1 #1"'),
        ("Pad* #3", "no port matches"),
        ("Pad* #0", "no port matches"),
        ("*box* #1", "no port matches"),
        ("", "no port matches"),
    ],
)
def test_none_or_several_is_reported(pattern: str, said: str) -> None:
    """A pattern that matches no port or several is refused with the candidates and what to write instead."""
    with pytest.raises(PortError, match=said):
        resolve(pattern, ALSA)


def test_no_ports_at_all() -> None:
    """On a system without ports the error says so."""
    with pytest.raises(PortError, match="no MIDI port of this direction was found"):
        resolve("*", [])


def test_a_name_written_out_wins() -> None:
    """A name written in full means that port: first the full name, then the plain name, then the pattern is tried."""
    names = ["Box [1]", "Box 1", "Box*", "Boxer", "Loud? 1:0 20:0", "Loud? 1:0", "Pad #2", "Pad", "Pad"]
    assert resolve("Box [1]", names) == "Box [1]"
    assert resolve("Box*", names) == "Box*"
    assert resolve("Box?1", names) == "Box 1"
    assert resolve("Loud? 1:0", names) == "Loud? 1:0"
    assert resolve("Pad #2", names) == "Pad #2"


def test_equal_names_keep_their_own_string() -> None:
    """Where even the full names are equal, the very string of the second is returned, so that the driver finds it."""
    names = ["".join(["P", "ad"]), "".join(["P", "ad"])]
    assert resolve("Pad #2", names) is names[1]
    blanks = ["Pad ", "Pa" + "d "]  # some drivers' names end in a blank (common practice, no source)
    assert resolve("Pad  #2", blanks) is blanks[1]


@pytest.mark.parametrize(
    ("pattern", "name"),
    [("Stage piano", "Stage piano 0"), ("Pad #2", "Pad 2"), ("Pad 12", "Pad 12 3"), ("Pad 1", "Pad 1")],
)
def test_names_with_an_index(pattern: str, name: str) -> None:
    """Where the driver ends every name in an index (WinMM), a pattern is compared with the name without it."""
    assert resolve(pattern, WINMM, indexed=True) == name


def test_digits_of_a_name_stay() -> None:
    """A number that belongs to the name is not taken for the driver's index."""
    assert plain("Eight-way box 3") == "Eight-way box 3"
    assert plain("Eight-way box 3 128:0") == "Eight-way box 3"
    assert plain("Eight-way box 3 2", indexed=True) == "Eight-way box 3"


@given(st.lists(st.text(max_size=12), unique=True, min_size=1), st.data())
def test_every_name_can_be_reached(names: list[str], data: st.DataObject) -> None:
    """Whatever a port is called, its full name selects it."""
    name = data.draw(st.sampled_from(names))
    assert resolve(name, names) == name


@given(st.text(max_size=12), st.lists(st.text(max_size=12), max_size=6))
def test_any_pattern_gives_a_port_or_a_sentence(pattern: str, names: list[str]) -> None:
    """Any pattern either finds one of the names or raises PortError."""
    with contextlib.suppress(PortError):
        assert resolve(pattern, names) in names
