"""Parameters as units: what a stream of controllers selects and sets."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.message_words import from_hex
from engine.midi.parameter_units import DataEntry, Parameter, SelectedParameter
from tests.support.check_values import check_value
from tests.support.parameter_receiver import ParameterReceiver


def _set_in_words(messages: list[str]) -> list[str]:
    entry = DataEntry()
    said = (entry.turn(*from_hex(message)[1:]) for message in messages)
    return [words for words in said if words is not None]


def _words(unit: dict[str, Any]) -> list[str]:
    """What is said of a unit of the check values: of its MSB, and then of its LSB."""
    kind = "rpn" if "rpn" in unit else "nrpn"
    name = f"{kind.upper()} {unit[kind][0]}/{unit[kind][1]}"
    words = [f"{name} = {unit['msb']}"]
    return words if unit.get("lsb") is None else [*words, f"{name} = {unit['msb'] << 7 | unit['lsb']} / 14"]


@pytest.mark.parametrize("name", ["pu-units-two", "pu-units-second-6", "pu-null-silent"])
def test_units_of_a_stream(name: str) -> None:
    """Each data entry is said with the parameter that it sets; the null parameter says nothing (M2-104 D.3.3)."""
    value = check_value(name)
    assert _set_in_words(value.input) == [words for unit in value.expected for words in _words(unit)]


def test_a_unit_of_14_bits() -> None:
    """NRPN 1/2 = 8208 in four messages (M2-104 D.3.3)."""
    value = check_value("pu-full-write")
    assert _set_in_words(value.expected)[-1] == "NRPN 1/2 = 8208 / 14"


def test_increments_ignore_their_value() -> None:
    """Data Increment and Data Decrement move by one step, whatever their value (RP-018)."""
    steps = check_value("pu-inc-value")
    said = _set_in_words(["B0 65 00", "B0 64 01", *steps.input, "B0 61 40"])
    assert said == [*(f"RPN 0/1 {step[0]} 1" for step in steps.expected), "RPN 0/1 - 1"]


def test_an_lsb_without_an_msb_is_said_as_such() -> None:
    """An LSB that comes first, or after an increment, says the LSB alone."""
    assert _set_in_words(["B0 63 01", "B0 62 08", "B0 26 10"]) == ["NRPN 1/8, LSB = 16"]
    assert _set_in_words(["B0 63 01", "B0 62 08", "B0 06 40", "B0 60 00", "B0 26 10"])[-1] == "NRPN 1/8, LSB = 16"


def test_nothing_is_set_before_a_selection() -> None:
    """Data that comes before any selection, or after Reset All Controllers (RP-015), sets nothing that is known."""
    assert _set_in_words(["B0 06 40", "B0 62 08", "B0 06 40"]) == []
    assert _set_in_words(["B0 63 01", "B0 62 08", "B0 79 00", "B0 06 40"]) == []


def test_a_parameter_in_messages() -> None:
    """Selected with 101 and 100, or with 99 and 98 (MIDI 1.0 p. 17)."""
    assert Parameter(True, 0, 5).selecting() == ((101, 0), (100, 5))
    assert Parameter(False, 1, 8).selecting() == ((99, 1), (98, 8))


_TURNS = st.lists(st.tuples(st.sampled_from([98, 99, 100, 101, 121, 7]), st.sampled_from([0, 1, 127])), max_size=12)


@given(_TURNS)
def test_it_selects_what_a_receiver_selects(turns: list[tuple[int, int]]) -> None:
    """Whatever is selected, null included, is what a receiver has selected, which begins with both kinds at null."""
    selected, receiver = SelectedParameter(), ParameterReceiver()
    for number in (98, 99, 100, 101):
        selected.turn(number, 127)
        receiver.hear(bytes((0xB0, number, 127)))
    for number, value in turns:
        selected.turn(number, value)
        receiver.hear(bytes((0xB0, number, value)))
        now = selected.now
        assert now is not None
        named = None if now.is_null else ("rpn" if now.registered else "nrpn", now.msb, now.lsb)
        assert named == receiver.selected
