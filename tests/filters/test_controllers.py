"""`controllers`: pedals, wheels and faders are selected, renumbered, inverted or limited to a range."""

import pytest

from tests.support.filter_bench import heard, refusal


def test_keep_lets_only_these_controllers_through() -> None:
    """Of the controllers only the kept ones pass; notes and all other kinds are not affected."""
    keep = 'filter = "controllers", keep = [1, 64]'
    assert heard(keep, "B0 01 20", "BF 40 7F", "B0 07 64", "90 07 64", "E0 00 40") == [
        "B0 01 20",
        "BF 40 7F",
        "90 07 64",
        "E0 00 40",
    ]


@pytest.mark.parametrize("number", range(120, 128))
def test_keep_never_stops_channel_mode_messages(number: int) -> None:
    """All notes off and other mode messages pass keep, so that nothing is left sounding; drop stops them (Table IV)."""
    message = f"B0 {number:02X} 00"
    assert heard('filter = "controllers", keep = [1]', message) == [message]
    assert heard('filter = "controllers", drop = [1]', message) == [message]
    assert heard(f'filter = "controllers", keep = [1], drop = [{number}]', message) == []


def test_drop_stops_these_controllers() -> None:
    """A dropped controller is silent on every channel."""
    assert heard('filter = "controllers", drop = [7]', "B0 07 64", "BF 07 64", "B0 08 64") == ["B0 08 64"]


def test_map_renumbers() -> None:
    """A modulation wheel can move expression; keep looks at the incoming number."""
    assert heard('filter = "controllers", map = { 1 = 11 }', "B3 01 20", "B3 0B 30") == ["B3 0B 20", "B3 0B 30"]
    assert heard('filter = "controllers", keep = [1], map = { 1 = 11, 2 = 1 }', "B0 01 05", "B0 02 05") == ["B0 0B 05"]


def test_range_squeezes_the_whole_travel() -> None:
    """A fader's 0 to 127 becomes low to high in a straight line, with both ends exact."""
    volume = 'filter = "controllers", range = { 7 = [20, 100] }'
    assert heard(volume, "B0 07 00", "B0 07 7F", "B0 07 40", "B0 0A 00") == [
        "B0 07 14",
        "B0 07 64",
        "B0 07 3C",
        "B0 0A 00",
    ]


def test_invert_turns_a_pedal_round() -> None:
    """A pedal of reversed polarity is up when it sends 127 (common practice, no source)."""
    assert heard('filter = "controllers", invert = [64]', "B0 40 7F", "B0 40 00", "B0 40 40") == [
        "B0 40 00",
        "B0 40 7F",
        "B0 40 3F",
    ]


def test_invert_stays_within_range_and_follows_the_number_that_came_in() -> None:
    """invert, range and map together: all go by the incoming number, and the values stay within low and high."""
    all_three = 'filter = "controllers", invert = [4], range = { 4 = [10, 50] }, map = { 4 = 11 }'
    assert heard(all_three, "B0 04 00", "B0 04 7F", "B0 0B 00") == ["B0 0B 32", "B0 0B 0A", "B0 0B 00"]


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of keep, drop, map, range, invert" in refusal('filter = "controllers"')
    assert "a controller from 0 to 127" in refusal('filter = "controllers", keep = [128]')
    assert "a controller from 0 to 119" in refusal('filter = "controllers", map = { 1 = 123 }')
    assert "a controller from 0 to 119" in refusal('filter = "controllers", invert = [-1]')
    assert "range.7: Value error, two values, [low, high]" in refusal('filter = "controllers", range = { 7 = 100 }')
    assert "the lower one first" in refusal('filter = "controllers", range = { 7 = [100, 20] }')
    assert "range.7.1: Value error, a value from 0" in refusal('filter = "controllers", range = { 7 = [0, 128] }')
    assert "controller 1 is in keep and in drop" in refusal('filter = "controllers", keep = [1], drop = [1]')
