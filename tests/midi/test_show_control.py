"""MIDI Show Control, RP-002/RP-014."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.show_control import ALL_CALL, ALL_TYPES, COMMANDS, LIGHTING, SOUND, ShowControl, read_show_control
from tests.support.check_values import check_value
from tests.support.remote_writing import show_control

GO = ShowControl(5, LIGHTING, "go", "61")

cues = st.from_regex(r"[0-9]{1,4}(\.[0-9]{1,3}){0,2}", fullmatch=True)


@st.composite
def sayings(draw: st.DrawFn) -> ShowControl:
    """Anything the standard has a general command for."""
    command = draw(st.sampled_from(list(COMMANDS.values())))
    size = draw(st.sampled_from({"timed_go": [5], "set": [4, 9], "fire": [1]}.get(command, [0])))
    settings = bytes(draw(st.lists(st.integers(0, 127), min_size=size, max_size=size)))
    given_cues = draw(st.lists(cues, min_size=command == "load", max_size=3))
    if command in ("set", "fire", "all_off", "restore", "reset"):
        given_cues = []
    cue, cue_list, path, *_ = [*given_cues, None, None, None]
    return ShowControl(draw(st.integers(0, 127)), draw(st.integers(1, 127)), command, cue, cue_list, path, settings)


def test_go_to_all_lights() -> None:
    """GO of cue 1 to all lighting devices has the bytes that the standard gives (RP-002 2.1, 5)."""
    entry = check_value("msc-go")
    message = bytes.fromhex(entry.expected)
    said = ShowControl(ALL_CALL, LIGHTING, "go", entry.input["q_number"])
    assert show_control(said) == message
    assert read_show_control(message) == said


def test_cue_list_and_path() -> None:
    """Cue 235.6 of list 36.6 on path 59 has the bytes that the standard prints (RP-002 3.1)."""
    entry = check_value("msc-cue-example")
    numbers = entry.input
    said = ShowControl(3, SOUND, "go", numbers["q_number"], numbers["q_list"], numbers["q_path"])
    message = bytes.fromhex(f"F0 7F 03 02 10 01 {entry.expected} F7")
    assert show_control(said) == message
    assert read_show_control(message) == said


def test_the_general_commands() -> None:
    """The commands have the standard's codes (RP-002 4.3)."""
    expected = check_value("msc-commands").expected
    assert {f"{code:02X}": name.upper() for code, name in COMMANDS.items()} == expected


def test_the_formats() -> None:
    """Lighting, sound and all types have the standard's codes (RP-002 4.1)."""
    named = {name: int(code, 16) for code, name in check_value("msc-formats").expected.items()}
    assert [named[name] for name in ("Lighting", "Sound", "All-types")] == [LIGHTING, SOUND, ALL_TYPES]


@given(sayings())
def test_what_is_built_is_read(said: ShowControl) -> None:
    """Every general command, device, format, cue and setting reads back unchanged."""
    assert read_show_control(show_control(said)) == said


@given(st.lists(st.integers(0, 255), max_size=20).map(bytes))
def test_what_is_read_has_one_message(tail: bytes) -> None:
    """Bytes that are read build the same message again, apart from empty numbers at its end; all other bytes give None,
    without an error."""
    message = b"\xf0\x7f\x05\x02\x01" + tail + b"\xf7"
    said = read_show_control(message)
    assert said is None or message in (show_control(said)[:-1] + b"\x00" * empty + b"\xf7" for empty in range(3))


@pytest.mark.parametrize("data", ["36 31", "36 31 00", "36 31 00 00"])
def test_a_list_and_path_may_be_left_empty(data: str) -> None:
    """GO 61 reads the same with its list and path left out or left empty. (Common practice, no source.)"""
    said = read_show_control(bytes.fromhex(f"F0 7F 05 02 01 01 {data} F7"))
    assert said == ShowControl(5, LIGHTING, "go", "61")


@pytest.mark.parametrize(
    "message",
    [
        "F0 7F 05 02 01 F7",  # without a command
        "F0 7F 05 02 00 01 F7",  # format 00 is an extension
        "F0 7F 05 02 01 00 01 F7",  # and so is command 00
        "F0 7F 05 02 01 0C F7",  # not a general command
        "F0 7F 05 02 01 01 36 31",  # not ended
        "F0 7F 05 02 01 01 41 F7",  # a letter for a cue
        "F0 7F 05 02 01 01 36 2E F7",  # a point without a digit after it
        "F0 7F 05 02 01 01 2E 36 F7",
        "F0 7F 05 02 01 01 36 2E 2E 31 F7",
        "F0 7F 05 02 01 01 00 32 F7",  # a list without a cue
        "F0 7F 05 02 01 01 00 F7",  # an empty cue
        "F0 7F 05 02 01 01 36 00 00 31 F7",  # a path without a list
        "F0 7F 05 02 01 01 36 00 00 00 F7",  # a fourth number, even an empty one
        "F0 7F 05 02 01 01 36 00 31 00 31 00 31 F7",  # a fourth number
        "F0 7F 05 02 01 05 F7",  # LOAD of nothing
        "F0 7F 05 02 01 08 31 F7",  # ALL_OFF has no data
        "F0 7F 05 02 01 04 00 00 00 00 F7",  # a time too short
        "F0 7F 05 02 01 06 00 00 00 F7",
        "F0 7F 05 02 01 01 80 F7",
        "F0 7E 05 02 01 01 F7",  # the header of a sample dump
        "F0 7F 05 03 01 01 F7",
        "90 3C 40",
        "F0 F7",
        "",
    ],
)
def test_what_is_no_show_control(message: str) -> None:
    """A message without a meaning in the standard is not read (RP-002 2.1, 3.1, 4)."""
    assert read_show_control(bytes.fromhex(message)) is None


def test_the_longest_message() -> None:
    """A message has at most 128 bytes (RP-002 2.1)."""
    longest = check_value("msc-frame").expected["max_bytes"]
    whole = b"\xf0\x7f\x05\x02\x01\x01" + b"1" * (longest - 7) + b"\xf7"
    assert len(whole) == longest
    assert read_show_control(whole) is not None
    assert read_show_control(whole[:-1] + b"1\xf7") is None
