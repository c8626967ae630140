"""What passes in words: a parameter is one line, whatever comes in between, and so is a value of 14 bits. (The wording
is our own.)"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.message_words import describe, from_hex
from engine.midi.unit_words import UnitWords, unit_from_hex, unit_in_words
from tests.support.filter_bench import MESSAGES


def _lines(*messages: str, units: UnitWords | None = None) -> list[str | None]:
    return (units or UnitWords()).lines(("keys", from_hex(message)) for message in messages)


def test_a_parameter_takes_one_line() -> None:
    """NRPN 1/8 = 64 (MIDI 1.0 p. 17), with a note in between; a second value needs no selection."""
    assert _lines("B0 63 01", "90 3C 40", "B0 62 08", "B0 06 40", "B0 06 41") == [
        None,
        "channel 1 note on C4 velocity 64",
        None,
        "channel 1 NRPN 1/8 = 64",
        "channel 1 NRPN 1/8 = 65",
    ]


def test_an_lsb_takes_its_msb_into_its_line() -> None:
    """All four messages of a 14-bit value are one line; the null parameter that ends it is another one."""
    unit = ["B4 65 00", "B4 64 01", "B4 06 40", "B4 26 10", "B4 65 7F", "B4 64 7F"]
    assert _lines(*unit) == [None, None, None, "channel 5 RPN 0/1 = 8208 / 14", None, "channel 5 no parameter selected"]


def test_the_null_parameter_takes_one_line() -> None:
    """Its MSB alone selects none already where no LSB has come; a new selection leaves that line."""
    assert _lines("B0 65 7F", "B0 64 7F", "B0 63 01", "B0 62 08", "B0 06 40") == [
        None,
        "channel 1 no parameter selected",
        None,
        None,
        "channel 1 NRPN 1/8 = 64",
    ]


def test_a_new_selection_leaves_the_value_before_it() -> None:
    """A 7-bit value that another selection follows keeps its line, and so does an increment."""
    assert _lines("B0 63 01", "B0 62 08", "B0 06 40", "B0 63 01", "B0 62 09", "B0 60 00") == [
        None,
        None,
        "channel 1 NRPN 1/8 = 64",
        None,
        None,
        "channel 1 NRPN 1/9 + 1",
    ]


def test_a_controller_of_14_bits_takes_one_line() -> None:
    """MSB and LSB (MIDI 1.0 p. 12), with a note and another controller in between; an LSB that comes alone has the same
    MSB, a new MSB sets the LSB to 0, and one without a name has its number."""
    assert _lines("B0 01 40", "90 3C 40", "B0 07 64", "B0 21 03", "B0 21 04", "B0 01 41") == [
        None,
        "channel 1 note on C4 velocity 64",
        "channel 1 volume 100",
        "channel 1 modulation 8195 / 14",
        "channel 1 modulation 8196 / 14",
        "channel 1 modulation 65",
    ]
    assert _lines("B0 03 00", "B0 23 05") == [None, "channel 1 controller 3 value 5 / 14"]


def test_an_lsb_without_its_msb_is_said_as_it_is() -> None:
    """Bank selects are no such values, the channel counts, and after Reset All Controllers no MSB is known (RP-015)."""
    alone = ["B0 21 03", "B0 00 01", "B0 20 02", "B0 01 40", "B1 21 03"]
    assert _lines(*alone) == [describe(from_hex(message)) for message in alone]
    after = ["B0 01 40", "B0 79 00", "B0 21 03"]
    assert _lines(*after) == [describe(from_hex(message)) for message in after]


def test_a_reset_selects_no_parameter() -> None:
    """RP-015: data that follows is no parameter's."""
    assert _lines("B0 63 01", "B0 62 08", "B0 06 40", "B0 79 00", "B0 06 41")[-1] == "channel 1 data entry MSB 65"


def test_what_belongs_to_no_parameter_is_said_as_it_is() -> None:
    """A selection without data, data without a selection and other messages keep lines of their own."""
    alone = ["B0 06 40", "B0 63 01", "B0 07 64", "F8"]
    assert _lines(*alone) == [describe(from_hex(message)) for message in alone]


def test_streams_and_channels_are_apart() -> None:
    """What one port or channel has selected says nothing about another."""
    units = UnitWords()
    assert units.lines([("keys", from_hex("B0 63 01")), ("keys", from_hex("B0 62 08"))]).count(None) == 0
    assert units.lines([("pads", from_hex("B0 06 40"))]) == ["channel 1 data entry MSB 64"]
    assert units.lines([("keys", from_hex("B1 06 40"))]) == ["channel 2 data entry MSB 64"]
    assert units.lines([("keys", from_hex("B0 06 40"))]) == ["channel 1 NRPN 1/8 = 64"]


@given(st.lists(MESSAGES, max_size=20))
def test_each_message_has_its_place(messages: list[bytes]) -> None:
    """There is one line or None for each message; only what selects a parameter or sets an MSB may be None."""
    lines = UnitWords().lines(("keys", message) for message in messages)
    assert len(lines) == len(messages)
    for message, line in zip(messages, lines, strict=True):
        assert line or (message[0] & 0xF0 == 0xB0 and message[1] in (*range(1, 32), 98, 99, 100, 101))


def test_one_message_or_one_unit_is_read() -> None:
    """All messages of a parameter, or both of a 14-bit controller."""
    both = ("B0 07 40", "B0 27 05")
    assert unit_in_words(unit_from_hex(" ".join(both))) == "channel 1 volume 8197 / 14"
    unit = ("B4 65 00", "B4 64 01", "B4 06 40", "B4 26 10")
    assert unit_from_hex(" ".join(unit)) == tuple(map(from_hex, unit))
    assert unit_in_words(unit_from_hex(" ".join(unit))) == "channel 5 RPN 0/1 = 8208 / 14"
    assert unit_from_hex("903C40") == (from_hex("90 3C 40"),)
    assert unit_in_words((from_hex("90 3C 40"),), "C3") == "channel 1 note on C3 velocity 64"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "hello",
        "B0 63",
        "90 3C 40 80 3C 40",
        "B0 07 40 B0 06 40",
        "B0 07 40 B0 21 05",
        "B0 07 40 B0 27 05 B0 27 06",
        "B0 63 01 B1 62 08 B1 06 40",
        "B0 63 01 B0 62 08 B0 06 40 B0 06 41",
        "B0 63 01 B0 62 88",
    ],
)
def test_what_is_neither_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"one whole MIDI message .*, or the messages of one parameter or 14-bit"):
        unit_from_hex(text)
