"""Text for displays with 7-bit letters. Sources: MIDI 1.0 p. 34 (data bytes of a SysEx); Unicode NFKD (UAX #15)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.seven_bit_text import seven_bit_text


@given(st.text(max_size=300), st.none() | st.integers(1, 128))
def test_any_text_is_seven_bit_and_as_wide_as_asked(text: str, width: int | None) -> None:
    """Whatever the text, each byte is a letter of ASCII that can be seen, or a blank; a width is kept exactly."""
    found = seven_bit_text(text, width)
    assert all(0x20 <= byte <= 0x7E for byte in found)
    assert width is None or len(found) == width


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Straße nach Mitternacht", "Strasse nach Mitternacht"),
        ("Café “Ångström” – C♯", 'Cafe "Angstrom" - C#'),
        ("Łódź, Øre, œuvre", "Lodz, Ore, oeuvre"),
        ("ﬁnale ½", "finale 1?2"),
        ("a\tb\nc\x00d\xf7", "a b c?d?"),
        ("夜の街", "???"),
        ("", ""),
    ],
)
def test_letters_become_their_nearest(text: str, shown: str) -> None:
    """A letter with an accent loses it, a ligature is taken apart, and what has no nearest letter is "?"."""
    assert seven_bit_text(text) == shown.encode()


def test_a_text_is_padded_or_cut() -> None:
    """A short text is followed by blanks, a long one is cut, after its letters were replaced."""
    assert seven_bit_text("Fuß", 6) == b"Fuss  "
    assert seven_bit_text("Fuß", 3) == b"Fus"
