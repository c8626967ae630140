"""`notes`: drum pads and keys play other notes."""

from tests.support.filter_bench import heard, refusal


def test_a_pad_plays_another_note() -> None:
    """Press, release in either form and pressure of a mapped note go to the other note; other notes stay."""
    step = 'filter = "notes", map = { 36 = 40, 38 = 36 }'
    assert heard(step, "99 24 64", "A9 24 10", "89 24 40", "99 24 00", "99 26 64", "99 28 64") == [
        "99 28 64",
        "A9 28 10",
        "89 28 40",
        "99 28 00",
        "99 24 64",
        "99 28 64",
    ]


def test_note_names_are_understood_on_both_sides() -> None:
    """Names and numbers may be mixed; C4 is note 60."""
    assert heard('filter = "notes", map = { C4 = "D4", "F#3" = 30 }', "90 3C 40", "90 36 40") == [
        "90 3E 40",
        "90 1E 40",
    ]


def test_other_messages_stay() -> None:
    """Controllers and programs with the same number are not notes."""
    stay = ["B0 24 40", "C0 24", "D0 24", "E0 24 24"]
    assert heard('filter = "notes", map = { 36 = 40 }', *stay) == stay


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert refusal('filter = "notes"').startswith("map")
    assert "at least one entry" in refusal('filter = "notes", map = {}')
    assert "a note from 0 to 127" in refusal('filter = "notes", map = { 36 = 128 }')
    assert 'its name such as "C4"' in refusal('filter = "notes", map = { kick = 36 }')
    assert "each key only once" in refusal('filter = "notes", map = { 60 = 1, C4 = 2 }')
