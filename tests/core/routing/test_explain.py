"""Sound names in the explanation of a message. Bank select and program: MIDI 1.0 Detailed Specification 4.2.1 p. 13."""

import pytest

from engine.core.routing.explain import called
from engine.rig.gear_words import drum_struck
from engine.rig.read.load import RigError, read
from filters.registry import Later
from tests.support.check_values import check_value

RIG = read(
    """
format = 1
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "b" }
second = { port = "c" }
[instruments.string-machine]
output = "strings"
channel = 5
programs_from = 0
[instruments.string-machine.sounds]
"Warm pad" = { bank = [0, 3], program = 12 }
"Choir" = { bank = [0, 4], program = 12 }
"Reed" = { program = 2 }
[instruments.kit]
output = "strings"
channel = 10
sounds_from = "general-midi"
[instruments.other-kit]
output = "second"
channel = 10
[[scenes]]
number = 1
name = "One"
""",
    "rig",
)


@pytest.mark.parametrize(
    ("messages", "named"),
    [
        (["B4 00 00", "B4 20 03", "C4 0C"], [None, None, "Warm pad"]),
        (["B4 20 04", "C4 0C"], [None, "Choir"]),
        (["B4 20 05", "C4 0C"], [None, None]),
        (["C4 0C"], [None]),
        (["C4 02"], ["Reed"]),
        (["C3 02"], [None]),
        (["B3 20 04", "C4 0C", "94 3C 40", "F8"], [None] * 4),
    ],
    ids=["bank 3", "bank 4", "unknown bank", "either", "only one", "another channel", "a bank elsewhere"],
)
def test_the_sound_is_known_by_its_bank_and_program(messages: list[str], named: list[str | None]) -> None:
    """A program has the name of its sound in the bank chosen before it; if several sounds are possible, it has none."""
    assert called(RIG, "strings", [bytes.fromhex(each) for each in messages]) == named


def test_what_comes_later_has_its_name_too() -> None:
    """A program sent later by a filter is also named; at an output without instruments nothing is."""
    later = [Later(1000, b"\xc4\x02")]
    assert (called(RIG, "strings", later), called(RIG, "brass", later)) == (["Reed"], [None])


def test_drums_have_their_names() -> None:
    """On channel 10 of a General MIDI instrument a key has its drum's name (RP-003, percussion key map), pressed or
    released; an unassigned key, a pedal, a clock and another instrument's key have none."""
    played = ["99 23 40", "99 26 40", "89 2A 40", "99 51 01", "99 22 40", "99 52 40", "B9 40 7F", "F8", "94 26 40"]
    wanted = ["Acoustic Bass Drum", "Acoustic Snare", "Closed Hi Hat", "Open Triangle"] + [None] * 5
    assert called(RIG, "strings", [bytes.fromhex(each) for each in played]) == wanted
    assert called(RIG, "second", [b"\x99\x26\x40"]) == [None]


KIT = """
format = 2
[outputs]
pads = { port = "a" }
[instruments.kit]
output = "pads"
channel = 2
drums = true
[instruments.own]
output = "pads"
channel = 3
keys = { 36 = "Kick", "D2" = "Snare" }
[[scenes]]
number = 1
name = "One"
"""


def test_a_kit_has_the_names_of_general_midi_2_or_its_own() -> None:
    """Its channel does not matter; where a kit has names of its own, other keys have none."""
    rig = read(KIT, "rig")
    for key, name in check_value("perc-gm2-ext").expected.items():
        assert called(rig, "pads", [bytes((0x91, int(key), 64))]) == [name]
    own = [bytes((0x92, key, 64)) for key in (36, 38, 42)]
    assert called(rig, "pads", own) == ["Kick", "Snare", None]
    assert drum_struck(rig, "pads", own[0]) == "Kick"
    assert drum_struck(rig, "pads", bytes((0x82, 36, 64))) is None
    assert drum_struck(rig, "pads", b"\xf8") is None


@pytest.mark.parametrize("keys", ['{ 128 = "Kick" }', '{ H2 = "Kick" }', '{ 36 = "" }', '"Kick"'])
def test_wrong_names_of_keys_are_reported(keys: str) -> None:
    """By their place."""
    with pytest.raises(RigError, match=r"instruments\.own\.keys"):
        read(KIT.replace('{ 36 = "Kick", "D2" = "Snare" }', keys), "rig")
