"""`controllers`: pedals, wheels and faders are selected, renumbered, inverted or limited to a range."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.filter_bench import at_once, heard, refusal, step_of


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


def test_keep_lets_the_velocity_prefix_of_a_note_through() -> None:
    """High resolution velocity (CA-031) belongs to the note that follows; only drop stops it."""
    assert heard('filter = "controllers", keep = [1]', "B0 58 55", "90 3C 40") == ["B0 58 55", "90 3C 40"]
    assert heard('filter = "controllers", drop = [88]', "B0 58 55", "90 3C 40") == ["90 3C 40"]


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


def test_stretch_brings_a_pedal_to_its_ends() -> None:
    """A pedal that moves from 5 to 118 only moves from 0 to 127, in a straight line; what is beyond stays at an end."""
    pedal = 'filter = "controllers", stretch = { 11 = [5, 118] }'
    assert heard(pedal, "B0 0B 05", "B0 0B 76", "B0 0B 00", "B0 0B 7F", "B0 04 05") == [
        "B0 0B 00",
        "B0 0B 7F",
        "B0 0B 00",
        "B0 0B 7F",
        "B0 04 05",
    ]
    middle = round((60 - 5) * 127 / (118 - 5))
    assert heard(pedal, "B0 0B 3C") == [f"B0 0B {middle:02X}"]


@given(st.integers(0, 126), st.integers(1, 127), st.lists(st.integers(0, 127), min_size=2))
def test_a_stretched_pedal_reaches_both_ends_and_never_turns_back(low: int, wide: int, came: list[int]) -> None:
    """Whatever its travel, the pedal's own ends become 0 and 127, and a higher value never becomes a lower one."""
    high = min(127, low + wide)
    step = step_of(f'filter = "controllers", stretch = {{ 11 = [{low}, {high}] }}')

    def value(of: int) -> int:
        return at_once(step, bytes((0xB0, 11, of)))[0][2]

    assert (value(low), value(high)) == (0, 127)
    moved = [value(of) for of in sorted(came)]
    assert moved == sorted(moved)


def test_curve_makes_a_pedal_rise_sooner_or_later() -> None:
    """50 is a square root, -50 a square, as for velocities; both ends stay (our own choice, no source)."""
    sooner, later = (f'filter = "controllers", curve = {{ 11 = {curve} }}' for curve in (50, -50))
    assert heard(sooner, "B0 0B 20") == [f"B0 0B {round(127 * (32 / 127) ** 0.5):02X}"]
    assert heard(later, "B0 0B 40") == [f"B0 0B {round(127 * (64 / 127) ** 2):02X}"]
    for curve in (sooner, later):
        assert heard(curve, "B0 0B 00", "B0 0B 7F") == ["B0 0B 00", "B0 0B 7F"]


def test_stretch_invert_curve_and_range_act_in_this_order() -> None:
    """A reversed pedal with a short travel: its ends are found first, then it is turned round, bent and squeezed."""
    turned_round = "stretch = { 4 = [10, 110] }, invert = [4], curve = { 4 = -50 }, range = { 4 = [0, 64] }"
    every = f'filter = "controllers", {turned_round}'
    assert heard(every, "B0 04 0A", "B0 04 6E") == ["B0 04 40", "B0 04 00"]
    turned = 127 - 63.5
    assert heard(every, "B0 04 3C") == [f"B0 04 {round(127 * (turned / 127) ** 2 * 64 / 127):02X}"]


def test_invert_stays_within_range_and_follows_the_number_that_came_in() -> None:
    """invert, range and map together: all go by the incoming number, and the values stay within low and high."""
    all_three = 'filter = "controllers", invert = [4], range = { 4 = [10, 50] }, map = { 4 = 11 }'
    assert heard(all_three, "B0 04 00", "B0 04 7F", "B0 0B 00") == ["B0 0B 32", "B0 0B 0A", "B0 0B 00"]


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of keep, drop, map, range, stretch, invert, curve" in refusal('filter = "controllers"')
    assert "a controller from 0 to 127" in refusal('filter = "controllers", keep = [128]')
    assert "a controller from 0 to 119" in refusal('filter = "controllers", map = { 1 = 123 }')
    assert "a controller from 0 to 119" in refusal('filter = "controllers", invert = [-1]')
    assert "range.7: Value error, two values, [low, high]" in refusal('filter = "controllers", range = { 7 = 100 }')
    assert "the lower one first" in refusal('filter = "controllers", range = { 7 = [100, 20] }')
    assert "range.7.1: Value error, a value from 0" in refusal('filter = "controllers", range = { 7 = [0, 128] }')
    assert "stretch.11: Value error, two different values" in refusal(
        'filter = "controllers", stretch = { 11 = [5, 5] }'
    )
    assert "a curve from -100 to 100" in refusal('filter = "controllers", curve = { 11 = 101 }')
    assert "controller 1 is in keep and in drop" in refusal('filter = "controllers", keep = [1], drop = [1]')
