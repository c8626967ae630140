"""`parameters`: RPNs, NRPNs and 14-bit controllers are selected, renumbered and scaled whole."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.check_values import check_value
from tests.support.filter_bench import at_once, heard, refusal, step_of
from tests.support.parameter_receiver import Named, ParameterReceiver

NRPN_1_8 = ["B0 63 01", "B0 62 08"]
NRPN_1_9 = ["B0 63 01", "B0 62 09"]
RPN_0_0 = ["B0 65 00", "B0 64 00"]
NULL = ["B0 65 7F", "B0 64 7F"]


def test_keep_lets_only_these_parameters_through() -> None:
    """A kept parameter passes with its selection, others do not; controllers, notes and the null parameter pass."""
    keep = 'filter = "parameters", keep = ["nrpn 1/8"]'
    played = [*NRPN_1_8, "B0 06 40", *NRPN_1_9, "B0 06 41", *RPN_0_0, "B0 06 02", *NULL, "B0 07 64", "90 3C 40"]
    assert heard(keep, *played) == [*NRPN_1_8, "B0 06 40", *NULL, "B0 07 64", "90 3C 40"]


def test_drop_stops_these_parameters() -> None:
    """The selection of a dropped parameter is not passed either, so that what was selected before is not disturbed."""
    drop = 'filter = "parameters", drop = ["NRPN 1/8"]'
    assert heard(drop, *NRPN_1_8, "B0 06 40", "B0 26 01", "B0 60 00", *RPN_0_0, "B0 06 02") == [*RPN_0_0, "B0 06 02"]


def test_a_parameter_leaves_whole_with_its_first_data() -> None:
    """Nothing leaves before there is data; then selection and data leave together, in the order of the standard."""
    step = step_of('filter = "parameters", drop = ["rpn 0/1"]')
    value = check_value("pu-full-write")
    *selecting, msb, lsb = value.expected
    assert heard(step, *selecting) == []
    assert heard(step, msb) == [*selecting, msb]
    assert heard(step, lsb) == [lsb]
    assert heard(step, lsb, msb) == [lsb, msb], "repeats need no new selection"


def test_a_parameter_becomes_another_one() -> None:
    """Data for NRPN 1/8 sets NRPN 1/9 or an RPN instead, LSB and increments included."""
    step = step_of('filter = "parameters", map = { "nrpn 1/8" = "rpn 0/1" }')
    assert heard(step, *NRPN_1_8, "B0 06 40", "B0 26 10", "B0 60 00") == [
        "B0 65 00",
        "B0 64 01",
        "B0 06 40",
        "B0 26 10",
        "B0 60 00",
    ]
    assert heard(step, *NRPN_1_9, "B0 06 01") == [*NRPN_1_9, "B0 06 01"]


def test_a_parameter_becomes_a_controller() -> None:
    """The value is the data MSB; a controller that has an LSB gets that, too, and one that has none does not."""
    played = [*NRPN_1_8, "B0 06 40", "B0 26 10"]
    assert heard('filter = "parameters", map = { "nrpn 1/8" = "controller 74" }', *played) == ["B0 4A 40"]
    assert heard('filter = "parameters", map = { "nrpn 1/8" = "controller 7" }', *played) == ["B0 07 40", "B0 27 10"]


def test_a_controller_becomes_a_parameter() -> None:
    """Its value is the data MSB, the LSB of one below 32 the data LSB; each channel has a selection of its own."""
    step = step_of('filter = "parameters", map = { "controller 74" = "nrpn 1/8", "controller 1" = "nrpn 1/9" }')
    assert heard(step, "B0 4A 40", "B0 4A 41") == [*NRPN_1_8, "B0 06 40", "B0 06 41"]
    assert heard(step, "B0 01 20", "B0 21 05") == [*NRPN_1_9, "B0 06 20", "B0 26 05"]
    assert heard(step, "B1 4A 40") == ["B1 63 01", "B1 62 08", "B1 06 40"]


def test_an_lsb_that_needs_a_new_selection_comes_with_its_msb() -> None:
    """Where another parameter was set in between, a repeated LSB is preceded by the selection and the MSB."""
    step = step_of('filter = "parameters", map = { "controller 74" = "nrpn 1/9" }')
    heard(step, *NRPN_1_8, "B0 06 40", "B0 26 10", "B0 4A 01")
    assert heard(step, "B0 26 11") == [*NRPN_1_8, "B0 06 40", "B0 26 11"]


def test_increments_move_a_controller_of_14_bits_by_its_lsb() -> None:
    """One step further than both bytes together, over the edge between two MSBs and back."""
    step = step_of('filter = "parameters", map = { "nrpn 1/8" = "controller 1" }')
    heard(step, *NRPN_1_8, "B0 06 40", "B0 26 7F")
    assert heard(step, "B0 60 00") == ["B0 01 41", "B0 21 00"]
    assert heard(step, "B0 61 00") == ["B0 01 40", "B0 21 7F"]


def test_increments_move_a_controller_from_its_last_value() -> None:
    """A controller has no increments: it moves on by one from the last value, stays within 0 to 127, and does nothing
    before a value has come."""
    step = step_of('filter = "parameters", map = { "nrpn 1/8" = "controller 74" }')
    assert heard(step, *NRPN_1_8, "B0 60 00") == []
    assert heard(step, "B0 06 7E", "B0 60 00", "B0 60 00", "B0 61 00") == [
        "B0 4A 7E",
        "B0 4A 7F",
        "B0 4A 7F",
        "B0 4A 7E",
    ]


def test_range_scales_the_whole_travel() -> None:
    """0 to 127 becomes low to high, 14 bits become 14 bits within them, and increments stay within them."""
    step = step_of('filter = "parameters", range = { "nrpn 1/8" = [0, 100] }')
    assert heard(step, *NRPN_1_8, "B0 06 7F") == [*NRPN_1_8, "B0 06 64"]
    assert heard(step, "B0 26 7F") == ["B0 06 64", "B0 26 7F"]
    assert heard(step, "B0 06 00", "B0 26 00", "B0 61 00") == [
        "B0 06 00",
        *("B0 06 00", "B0 26 00"),
        *("B0 06 00", "B0 26 00"),
    ]


def test_controllers_are_kept_and_dropped_with_their_lsb() -> None:
    """A 14-bit controller is one unit: its LSB goes where it goes. A keep without controllers concerns none."""
    assert heard('filter = "parameters", drop = ["controller 1"]', "B0 01 20", "B0 21 05", "B0 02 01") == ["B0 02 01"]
    keep = 'filter = "parameters", keep = ["controller 1"]'
    assert heard(keep, "B0 01 20", "B0 21 05", "B0 02 01", "B0 22 01") == ["B0 01 20", "B0 21 05"]
    assert heard(keep, "B0 00 01", "B0 20 02", "B0 7B 00") == ["B0 00 01", "B0 20 02", "B0 7B 00"]
    assert heard(keep, *RPN_0_0, "B0 06 02") == [*RPN_0_0, "B0 06 02"]


def test_data_without_a_selection_goes_nowhere() -> None:
    """Data before a selection, after the null parameter or after Reset All Controllers (RP-015) does not pass."""
    step = step_of('filter = "parameters", drop = ["rpn 0/1"]')
    assert heard(step, "B0 06 40", "B0 26 01", "B0 60 00") == []
    assert heard(step, *RPN_0_0, "B0 06 02", *NULL, "B0 06 03") == [*RPN_0_0, "B0 06 02", *NULL]
    assert heard(step, *RPN_0_0, "B0 79 00", "B0 06 03") == ["B0 79 00"]


_P, _Q, _R = ("nrpn", 1, 0), ("rpn", 0, 1), ("rpn", 0, 0)
_SETTINGS: list[tuple[str, dict[str, Any]]] = [
    ('drop = ["nrpn 1/0"]', {"drop": {_P}}),
    ('keep = ["nrpn 1/0", "rpn 0/1", "controller 1"]', {"keep": {_P, _Q, ("controller", 1, 0)}}),
    ('map = { "nrpn 1/0" = "rpn 0/1", "rpn 0/1" = "nrpn 1/0" }', {"map": {_P: _Q, _Q: _P}}),
    ('map = { "controller 1" = "nrpn 5/5" }', {"map": {("controller", 1, 0): ("nrpn", 5, 5)}}),
    ('map = { "rpn 0/0" = "controller 20" }', {"map": {_R: ("controller", 20, 0)}}),
]
_NUMBERS = [98, 99, 100, 101, 6, 38, 6, 38, 1, 33, 7, 39, 121, 64]
_NULL = [(99, 127), (98, 127), (101, 127), (100, 127)]
_VALUES = st.sampled_from([0, 1, 2, 127])
_SET = st.lists(st.tuples(st.sampled_from(_NUMBERS), _VALUES), max_size=40)
_TURNED = st.lists(st.tuples(st.sampled_from([*_NUMBERS, 96, 97]), _VALUES), max_size=40)


def _play(settings: str, turns: list[tuple[int, int]]) -> tuple[ParameterReceiver, ParameterReceiver]:
    """A receiver in front of the filter and one behind it."""
    step = step_of(f'filter = "parameters", {settings}')
    before, behind = ParameterReceiver(), ParameterReceiver()
    for number, value in [*_NULL, *turns]:
        message = bytes((0xB0, number, value))
        before.hear(message)
        for sent in at_once(step, message):
            behind.hear(sent)
    return before, behind


def _becomes(name: Named, rules: dict[str, Any]) -> Named | None:
    if name in rules.get("drop", ()) or name not in rules.get("keep", {name}):
        return None
    found: Named = rules.get("map", {}).get(name, name)
    return found


def _once(log: list[tuple[Named | None, int, int]]) -> list[tuple[Named | None, int, int]]:
    """The settings, without an MSB that only comes before its LSB."""
    return [one for one, after in pairwise([*log, (None, 0, 0)]) if one[2] or one[:2] != after[:2]]


@pytest.mark.parametrize(("settings", "rules"), _SETTINGS)
@given(_SET)
def test_a_unit_is_never_torn(settings: str, rules: dict[str, Any], turns: list[tuple[int, int]]) -> None:
    """Whatever a player sends, null and repeats included: the receiver behind the filter is set to what one in front of
    it is set to, in the same order, by the rules of the filter, and nothing else is set."""
    before, behind = _play(settings, turns)
    moved = [(_becomes(name, rules), msb, lsb) for name, msb, lsb in before.log]
    assert _once([each for each in moved if each[0]]) == _once([*behind.log])


@given(_TURNED)
def test_an_increment_is_never_torn_from_its_parameter(turns: list[tuple[int, int]]) -> None:
    """Increments and decrements reach the parameter that the player has selected, or the one that it is mapped to."""
    before, behind = _play('drop = ["nrpn 1/0"], map = { "rpn 0/0" = "rpn 9/9" }', turns)
    rules = {"drop": {_P}, "map": {_R: ("rpn", 9, 9)}}
    moved = {_becomes(name, rules): steps for name, steps in before.steps.items()}
    moved.pop(None, None)
    assert behind.steps == moved


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of keep, drop, map, range" in refusal('filter = "parameters"')
    for wrong in ("nrpn 1", "nrpn 1/128", "rpn 127/127", "controller 33", "controller 6", "controller 120", "volume"):
        assert '"nrpn M/L" or "rpn M/L"' in refusal(f'filter = "parameters", drop = ["{wrong}"]')
    assert "parameter nrpn 1/8 is in keep and in drop" in refusal(
        'filter = "parameters", keep = ["NRPN 1/8"], drop = ["nrpn 1/8"]'
    )
    assert "a list of parameters, at least one" in refusal('filter = "parameters", keep = "nrpn 1/8"')
    assert "a value from 0 to 127" in refusal('filter = "parameters", range = { "nrpn 1/8" = [0, 128] }')
