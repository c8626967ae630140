"""`programs` and `add_bank`: program changes call other programs, from the right bank."""

import pytest

from tests.support.check_values import check_value
from tests.support.filter_bench import heard, refusal


def test_programs_are_printed_numbers() -> None:
    """map = { 1 = 6 } uses printed numbers, which are one more than the bytes sent (MIDI 1.0 p. 18)."""
    entry = check_value("program-wire")
    (one, six, last), (wire_one, wire_six, wire_last) = entry.input["printed"], entry.expected["wire"]
    step = f'filter = "programs", map = {{ {one} = {six}, {six} = {last} }}'
    assert heard(step, f"C0 {wire_one:02X}", f"C9 {wire_six:02X}") == [f"C0 {wire_six:02X}", f"C9 {wire_last:02X}"]


def test_other_programs_and_other_messages_stay() -> None:
    """A program without an entry passes, and so does everything that is not a program change."""
    stay = ["C0 07", "90 06 40", "B0 06 06", "D0 06"]
    assert heard('filter = "programs", map = { 7 = 77 }', *stay, "C0 06") == [*stay, "C0 4C"]


def test_bank_select_is_in_front() -> None:
    """Bank MSB, bank LSB and the program change, in this order (MIDI 1.0 p. 13)."""
    entry = check_value("bank-order")
    sound = entry.input
    step = f'filter = "add_bank", channels = {{ {sound["channel"]} = [{sound["msb"]}, {sound["lsb"]}] }}'
    assert " ".join(heard(step, f"C0 {sound['program_wire']:02X}")) == entry.expected


def test_a_program_may_have_its_own_bank_and_number() -> None:
    """programs gives bank and number for one printed program on any channel; without a number the program stays."""
    step = 'filter = "add_bank", programs = { 7 = { bank = [81, 3], program = 77 }, 8 = { bank = [1, 2] } }'
    assert heard(step, "C4 06") == ["B4 00 51", "B4 20 03", "C4 4C"]
    assert heard(step, "C0 07") == ["B0 00 01", "B0 20 02", "C0 07"]


def test_a_program_goes_before_its_channel() -> None:
    """If both match, the program's own bank is sent; other programs of the channel get the channel's bank."""
    step = 'filter = "add_bank", channels = { 1 = [9, 9] }, programs = { 7 = { bank = [81, 3] } }'
    assert heard(step, "C0 06") == ["B0 00 51", "B0 20 03", "C0 06"]
    assert heard(step, "C0 05") == ["B0 00 09", "B0 20 09", "C0 05"]


def test_no_match_passes_unchanged() -> None:
    """A program change that no entry matches, and every other message, passes unchanged."""
    step = 'filter = "add_bank", channels = { 2 = [1, 2] }, programs = { 7 = { bank = [81, 3] } }'
    stay = ["C0 05", "B1 00 05", "91 06 40", "D1 06"]
    assert heard(step, *stay) == stay


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ('filter = "programs"', "map"),
        ('filter = "programs", map = {}', "at least one entry"),
        ('filter = "programs", map = { 0 = 1 }', "a program from 1 to 128"),
        ('filter = "programs", map = { 1 = 129 }', "a program from 1 to 128"),
        ('filter = "programs", map = { one = 1 }', "map.one.[key]: Value error, a program from 1 to 128"),
        ('filter = "add_bank"', "at least one of channels, programs"),
        ('filter = "add_bank", channels = { 0 = [1, 2] }', "a channel from 1 to 16"),
        ('filter = "add_bank", channels = { 1 = 5 }', "a bank as [msb, lsb]"),
        ('filter = "add_bank", channels = { 1 = [1, 128] }', "a value from 0 to 127"),
        ('filter = "add_bank", programs = { 7 = { program = 77 } }', "programs.7.bank"),
        ('filter = "add_bank", programs = { 7 = { bank = [0, 0], program = 0 } }', "a program from 1 to 128"),
        ('filter = "add_bank", programs = { 7 = { bank = [0, 0], note = 1 } }', "programs.7.note"),
    ],
)
def test_what_is_allowed_is_said(settings: str, said: str) -> None:
    """Each mistake gets an answer that gives its place and says what is allowed."""
    assert said in refusal(settings)
