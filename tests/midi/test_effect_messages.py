"""Reverb and chorus of General MIDI 2 in words. Source of each figure: tests/reference."""

import pytest

from engine.midi.setup_words import Receiver, is_value, set_up
from tests.support.check_values import CheckValue, check_value, check_values

#: the types in the standard's numbers (CA-024; the last two of the chorus from memory)
REVERBS = {0: "small room", 1: "medium room", 2: "large room", 3: "medium hall", 4: "large hall", 8: "plate"}
CHORUSES = {0: "chorus 1", 1: "chorus 2", 2: "chorus 3", 3: "chorus 4", 4: "feedback chorus", 5: "flanger"}
HEAD = "F0 7F 7F 04 05 01 01 01 01"


def _sent(words: str) -> str:
    (message,) = set_up(words, Receiver(3)).messages
    assert is_value(message)
    return message.hex(" ").upper()


def test_types() -> None:
    """One message for each, with the type's number as its value."""
    assert _sent("reverb type large hall") == check_value("gpc-hall").expected
    assert _sent("chorus type chorus 3") == check_value("gpc-chorus").expected
    for number, name in REVERBS.items():
        assert _sent(f"reverb type {name}") == f"{HEAD} 01 00 {number:02X} F7"
    for number, name in CHORUSES.items():
        assert _sent(f"chorus type {name}") == f"{HEAD} 02 00 {number:02X} F7"


@pytest.mark.parametrize("value", check_values("gpc-reverb-time-"), ids=lambda value: value.id)
def test_reverb_times(value: CheckValue) -> None:
    """In seconds; the default of each type, as it is printed to a tenth of a second, has its value to a step or two."""
    sent = _sent(f"reverb time {value.expected['seconds']} s").split()
    assert " ".join(sent[:-2]) == f"{HEAD} 01 01"
    assert int(sent[11], 16) == pytest.approx(value.expected["value"], abs=1)


@pytest.mark.parametrize("value", check_values("gpc-chorus-unit-"), ids=lambda value: value.id)
def test_units_of_the_chorus(value: CheckValue) -> None:
    """Rate, depth, feedback and what goes to the reverb have a parameter each."""
    words = {"rate": "chorus rate", "depth": "chorus depth", "feedback": "chorus feedback", "send": "chorus to reverb"}
    parameter = value.input["parameter"]
    ((unit, amount),) = value.expected.items()
    sent = _sent(f"{words[parameter]} {amount:g} {unit.replace('percent', '%')}")
    assert sent == f"{HEAD} 02 {[*words].index(parameter) + 1:02X} {value.input['value']:02X} F7"


@pytest.mark.parametrize("number", range(6))
def test_the_defaults_of_each_chorus_are_within_reach(number: int) -> None:
    """What a type sets can be said in words, too."""
    value = check_value(f"gpc-chorus-{number}")
    assert _sent(f"chorus type {CHORUSES[value.input['type']]}").endswith(f"{number:02X} F7")
    steps = {"rate": (0.122, "Hz"), "feedback": (0.763, "%"), "reverb_send": (0.787, "%")}
    names = {"rate": "chorus rate", "feedback": "chorus feedback", "reverb_send": "chorus to reverb"}
    for name, (step, unit) in steps.items():
        sent = _sent(f"{names[name]} {value.expected[name] * step:.3f} {unit}")
        assert int(sent.split()[11], 16) == value.expected[name]


def test_sends_are_controllers() -> None:
    """Reverb is 91 and chorus 93 (MIDI Association, Table 3)."""
    assert set_up("reverb send 40", Receiver(3)).messages == (bytes.fromhex("B35B28"),)
    assert set_up("chorus send 20", Receiver(3)).messages == (bytes.fromhex("B35D14"),)


@pytest.mark.parametrize("words", ["reverb time 9 s", "reverb time 0 s", "chorus rate 16 Hz", "chorus to reverb 101 %"])
def test_what_is_out_of_reach_is_refused(words: str) -> None:
    """A value is never cut off silently; what it may be is said."""
    with pytest.raises(ValueError, match=f'^"{words.rsplit(" ", 2)[0]} [0-9.]+ .*" to "'):
        set_up(words, Receiver())
