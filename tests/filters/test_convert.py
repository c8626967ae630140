"""`convert`: one kind of control becomes another."""

import pytest

from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.filter_bench import at_once, heard, refusal, step_of

UP = check_values("ump-up7-")


def test_aftertouch_moves_a_controller() -> None:
    """Aftertouch becomes the modulation wheel on its channel and is not passed on itself."""
    step = 'filter = "convert", from = "aftertouch", to = "controller 1"'
    assert heard(step, "D4 21", "B4 01 05", "A4 3C 0C") == ["B4 01 21", "B4 01 05", "A4 3C 0C"]


def test_a_controller_moves_aftertouch_or_another_controller() -> None:
    """Only the named controller is converted."""
    assert heard('filter = "convert", from = "controller 2", to = "aftertouch"', "B0 02 30", "B0 01 30") == [
        "D0 30",
        "B0 01 30",
    ]
    assert heard('filter = "convert", from = "controller 2", to = "controller 11"', "B9 02 30") == ["B9 0B 30"]


def test_pressure_of_a_key_becomes_pressure_of_the_channel() -> None:
    """Key pressure serves synths that know only channel pressure."""
    assert heard('filter = "convert", from = "poly_aftertouch", to = "aftertouch"', "A4 3C 0C", "94 3C 0C") == [
        "D4 0C",
        "94 3C 0C",
    ]


def test_the_bender_keeps_its_ends_and_centre_as_a_controller() -> None:
    """Bend down, centre and up become 0, 64 and 127 (bytes: MIDI 1.0 p. 19)."""
    bends = [check_value(f"bend-{value}").expected for value in (0, 8192, 8193, 16383)]
    assert heard('filter = "convert", from = "pitch_bend", to = "controller 1"', *bends) == [
        "B0 01 00",
        "B0 01 40",
        "B0 01 40",
        "B0 01 7F",
    ]


@pytest.mark.parametrize("entry", UP, ids=lambda entry: entry.id)
def test_seven_bits_become_fourteen_by_the_rule_of_the_standard(entry: CheckValue) -> None:
    """The 14 bits are the first 14 of the standard's 16 (MIDI 2.0 Bit Scaling and Resolution 1.0.2, Tables 5 and 6)."""
    value = entry.input["value7"]
    step = step_of('filter = "convert", from = "controller 1", to = "pitch_bend"')
    (out,) = at_once(step, bytes((0xB0, 1, value)))
    assert out[2] << 7 | out[1] == int(entry.expected["u16"], 16) >> 2


def test_up_and_down_again_is_the_same_value() -> None:
    """A controller turned into bend and back is unchanged, for all 128 values."""
    there = step_of('filter = "convert", from = "controller 1", to = "pitch_bend"')
    back = step_of('filter = "convert", from = "pitch_bend", to = "controller 1"')
    for value in range(128):
        message = bytes((0xB3, 1, value))
        (bend,) = at_once(there, message)
        assert back(bend, 0) == (message,)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ('from = "aftertouch"', "to"),
        ('to = "aftertouch"', "from"),
        ('from = "aftertouch", to = "aftertouch"', "two different kinds"),
        ('from = "note", to = "aftertouch"', '"controller N" with N from 0 to 119, or one of pitch_bend, aftertouch'),
        ('from = "aftertouch", to = "poly_aftertouch"', '"controller N" with N from 0 to 119'),
        ('from = "aftertouch", to = "controller 120"', '"controller N" with N from 0 to 119'),
        ('from = "aftertouch", to = "controller 01"', '"controller N" with N from 0 to 119'),
        ('from = ["aftertouch"], to = "controller 1"', '"controller N" with N from 0 to 119'),
    ],
)
def test_what_is_allowed_is_said(settings: str, said: str) -> None:
    """Each mistake gets an answer that gives its place and says what is allowed."""
    assert said in refusal(f'filter = "convert", {settings}')
