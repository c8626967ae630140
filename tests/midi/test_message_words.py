"""Messages and numbers in musicians' words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.kinds import KINDS, Kind
from engine.midi.message_words import MiddleC, controller_name, describe, from_hex, note_name, note_number, to_hex
from tests.support.check_values import CheckValue, check_value, check_values

CONTROLLERS = [*check_values("cc-"), *check_values("mode-", given="controller")]


def test_middle_c_is_c4() -> None:
    """Note 60 is middle C (MIDI 1.0 p. 10) and is called C4, one of the two conventions in use."""
    assert (
        note_name(check_value("note-middle-c").expected) == check_value("note-octave-names").expected["convention_c4"]
    )


def test_every_note_name_reads_back() -> None:
    """A note's name is the name of that note alone, from C-1 to G9."""
    assert [note_number(note_name(number)) for number in range(128)] == list(range(128))
    assert (note_name(0), note_name(127)) == ("C-1", "G9")


@pytest.mark.parametrize(
    ("text", "number"), [("F#3", 54), ("Bb2", 46), ("bb2", 46), ("c4", 60), ("Cb4", 59), ("B#3", 60), ("E♭4", 63)]
)
def test_note_names_as_players_write_them(text: str, number: int) -> None:
    """Sharps, flats and small letters are accepted (common practice, no source)."""
    assert note_number(text) == number


@pytest.mark.parametrize("text", ["", "H4", "C", "60", "C10", "G#9", "Cb-1", "C-2", "C##4", "C 4"])
def test_what_is_no_note_name_is_refused(text: str) -> None:
    """A word that is not the name of a note from 0 to 127 is refused with an example of one."""
    with pytest.raises(ValueError, match='such as "C4"'):
        note_number(text)


@pytest.mark.parametrize("entry", CONTROLLERS, ids=lambda entry: entry.id)
def test_controllers_have_the_standard_names(entry: CheckValue) -> None:
    """Controllers have the names of MIDI 1.0 Tables III and IV and the MIDI Association's Table 3."""
    standard = entry.expected if isinstance(entry.expected, str) else entry.expected["name"]
    ours = controller_name(entry.input["controller"]).lower()
    first_word = standard.lower().removeprefix("channel ").split()[0]
    assert first_word in ours or (standard == "Damper (sustain)" and ours == "sustain pedal")


def test_controllers_without_a_name_are_called_by_number() -> None:
    """A controller that the standard leaves undefined is named by its number (MIDI 1.0 Table III)."""
    assert [controller_name(number) for number in (3, 9, 35, 102, 119)] == [
        "controller 3",
        "controller 9",
        "controller 35",
        "controller 102",
        "controller 119",
    ]


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ("94 3C 64", "channel 5 note on C4 velocity 100"),
        ("94 3C 00", "channel 5 note off C4 (sent as note on, velocity 0)"),
        ("8F 7F 40", "channel 16 note off G9 velocity 64"),
        ("A4 3C 0C", "channel 5 key pressure C4 12"),
        ("B0 40 7F", "channel 1 sustain pedal 127 (down)"),
        ("B0 40 3F", "channel 1 sustain pedal 63 (up)"),
        ("B0 41 40", "channel 1 portamento switch 64 (on)"),
        ("B0 00 00", "channel 1 bank MSB 0"),
        ("B0 20 03", "channel 1 bank LSB 3"),
        ("B9 07 64", "channel 10 volume 100"),
        ("B0 03 05", "channel 1 controller 3 value 5"),
        ("B0 7B 00", "channel 1 all notes off"),
        ("B0 7A 00", "channel 1 local control off"),
        ("B0 7E 04", "channel 1 mono on, 4 channels"),
        ("C0 0B", "channel 1 program 12"),
        ("D2 21", "channel 3 aftertouch 33"),
        ("E0 00 40", "channel 1 pitch bend centre"),
        ("E0 30 49", "channel 1 pitch bend +1200"),
        ("E0 00 00", "channel 1 pitch bend -8192"),
        ("F0 7E 7F 06 01 F7", "SysEx 6 bytes: F0 7E 7F 06 01 F7"),
        (
            "F0 7F 7F 01 02 01 02 03 04 05 06 07 08 00 F7",
            "SysEx 15 bytes: F0 7F 7F 01 02 01 02 03 04 05 06 07 …",
        ),
        ("F1 76", "time code quarter frame 7 (hours high and rate) 6"),
        ("F2 2C 02", "song position 300 sixteenths"),
        ("F3 00", "song 1"),
        ("F6", "tune request"),
        ("F8", "clock"),
        ("FE", "active sensing"),
        ("FF", "reset"),
    ],
)
def test_messages_in_words(message: str, words: str) -> None:
    """A message is shown with printed numbers, note names and pedals up or down (bytes: MIDI 1.0 Tables II to VI)."""
    assert describe(from_hex(message)) == words


@given(st.sampled_from(KINDS), st.integers(0, 15), st.lists(st.integers(0, 127), min_size=2, max_size=20))
def test_every_message_has_words_and_hexadecimal_that_reads_back(kind: Kind, channel: int, data: list[int]) -> None:
    """Every message has words, and its hexadecimal reads back as the same message."""
    status = kind.status | channel if kind.status < 0xF0 else kind.status
    message = bytes((status, *data, 0xF7)) if kind.data_bytes < 0 else bytes((status, *data[: kind.data_bytes]))
    assert describe(message)
    assert from_hex(to_hex(message)) == message


@pytest.mark.parametrize("text", ["", "3C 40", "90 3C", "90 3C 40 50", "F0 7D 01", "90 3C 80", "zz", "F4"])
def test_what_is_no_whole_message_is_refused(text: str) -> None:
    """Hexadecimal that is not exactly one whole message is refused with an example (MIDI 1.0 Tables I to VII)."""
    with pytest.raises(ValueError, match="one whole MIDI message"):
        from_hex(text)


@pytest.mark.parametrize(
    ("middle_c", "lowest", "highest"), [("C3", "C-2", "G8"), ("C4", "C-1", "G9"), ("C5", "C0", "G10")]
)
def test_names_of_notes_follow_the_gear(middle_c: MiddleC, lowest: str, highest: str) -> None:
    """Note 60 is named as the gear prints it, and all others by it. (The octave is not standardised.)"""
    assert (note_name(0, middle_c), note_name(60, middle_c), note_name(127, middle_c)) == (lowest, middle_c, highest)
    assert [note_number(note_name(key, middle_c), middle_c) for key in range(128)] == [*range(128)]
    assert describe(bytes.fromhex("903C40"), middle_c) == f"channel 1 note on {middle_c} velocity 64"
    with pytest.raises(ValueError, match=f'"{lowest}" to "{highest}"'):
        note_number("C-3", middle_c)
