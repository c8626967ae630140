"""The table of controllers, compared with the standard's classes (sources: tests/reference/controller-classes.json)."""

from typing import Any

import pytest

from engine.midi.controllers import (
    CONTROLLERS,
    FOR_NEXT_NOTE,
    KEEP_ORDER,
    LSB_OF,
    MSB_OF,
    PARAMETERS,
    PEDALS,
    RESTS,
    SWITCHES,
    Controller,
)
from tests.support.check_values import check_value

ROWS: dict[str, dict[str, Any]] = check_value("cls-rows").expected

#: each press of general purpose buttons 5 to 8 counts (common practice, no source; the reference rows thin them)
_BUTTONS = {80, 81, 82, 83}


def test_each_row_is_at_its_number() -> None:
    """The row of controller N is the Nth of 128."""
    assert [row.number for row in CONTROLLERS] == list(range(128))


@pytest.mark.parametrize("row", CONTROLLERS[:120], ids=lambda row: str(row.number))
def test_a_row_says_what_the_reference_says(row: Controller) -> None:
    """Partner, order, switch, level and whether it has a name: as in MIDI Association Table 3 and MIDI 1.0."""
    said = ROWS[str(row.number)]
    if row.number not in range(98, 102):  # the halves of a parameter's number do not set each other to 0
        assert (row.msb if row.msb is not None else LSB_OF.get(row.number)) == said["partner"]
    assert row.keeps_order == said["keeps_order"] or row.number in _BUTTONS
    assert bool(row.name) == said["name_known"] or row.number == 79  # 79: sound controller 10, without a default name
    if row.msb is None:
        assert row.momentary == said["momentary"]
        assert row.level == said["level"]


def test_the_sets_are_those_of_the_standard() -> None:
    """Pairs, switches, prefixes of the next note, and controllers that must never be thinned."""
    assert {str(msb): lsb for msb, lsb in LSB_OF.items()} == check_value("cls-pairs").expected
    assert {lsb: msb for msb, lsb in LSB_OF.items()} == MSB_OF
    assert sorted(SWITCHES) == check_value("cls-switches").expected
    assert sorted(FOR_NEXT_NOTE) == check_value("cls-prefix").expected
    assert sorted(KEEP_ORDER - _BUTTONS) == check_value("cls-never-thin").expected
    assert set(PEDALS) < SWITCHES
    assert [row.number for row in CONTROLLERS if row.level and row.msb is None] == check_value("cls-levels").expected
    named = {row.number for row in CONTROLLERS[:120] if row.name}
    assert named & {*check_value("cls-undefined").expected} <= {79}  # sound controller 10: see above
    assert named | {*check_value("cls-undefined").expected} == set(range(120))
    assert set(check_value("jrn-c-not-m").expected) == PARAMETERS


def test_the_values_at_rest_are_those_of_rp_015() -> None:
    """RP-015: modulation 0, expression 127, 64 to 67 at 0, no parameter selected; 2, 68, 69 by common practice.

    RP-015 names no foot controller (4): it may be the level of a part.
    """
    assert {
        **dict.fromkeys((1, 64, 65, 66, 67), 0),
        **dict.fromkeys((11, 98, 99, 100, 101), 127),
        **dict.fromkeys((2, 68, 69), 0),
    } == RESTS
