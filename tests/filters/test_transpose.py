"""`transpose`: moves notes by a number of semitones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.check_values import check_value
from tests.support.filter_bench import at_once, heard, refusal, step_of


def test_notes_and_their_pressure_move() -> None:
    """Press, release in either form and key pressure move together; velocities stay."""
    up = 'filter = "transpose", semitones = 12'
    assert heard(up, "90 3C 40", "A0 3C 0C", "90 3C 00", "80 3C 11") == ["90 48 40", "A0 48 0C", "90 48 00", "80 48 11"]
    assert heard('filter = "transpose", semitones = -12', "95 3C 40") == ["95 30 40"]


def test_other_messages_stay() -> None:
    """Controllers, programs, channel pressure and pitch bend have no note to move."""
    stay = ["B0 3C 40", "C0 3C", "D0 3C", "E0 3C 40"]
    assert heard('filter = "transpose", semitones = 7', *stay) == stay


def test_a_note_outside_is_not_played() -> None:
    """A note that would leave 0 to 127 cannot be sent, and neither can its release (MIDI 1.0 p. 10)."""
    case = check_value("note-range").input
    step = f'filter = "transpose", semitones = {case["transpose"]}'
    note = f"{case['note']:02X}"
    assert heard(step, f"90 {note} 40", f"80 {note} 40", f"90 {note} 00", f"A0 {note} 10") == []
    assert heard('filter = "transpose", semitones = -1', "90 00 40", "90 01 40") == ["90 00 40"]
    assert heard('filter = "transpose", semitones = 1', "90 7F 40", "90 7E 40") == ["90 7F 40"]


def test_folding_brings_a_note_back_by_octaves() -> None:
    """outside = "fold" plays the note of the same name in the nearest octave within 0 to 127."""
    fold = 'filter = "transpose", semitones = {}, outside = "fold"'
    assert heard(fold.format(12), "90 74 40", "90 73 40") == ["90 74 40", "90 7F 40"]
    assert heard(fold.format(1), "90 7F 40", "80 7F 40") == ["90 74 40", "80 74 40"], "128 is no note"
    assert heard(fold.format(-12), "90 0B 40", "90 0C 40") == ["90 0B 40", "90 00 40"]


@pytest.mark.parametrize("outside", ["drop", "fold"])
def test_every_note_by_every_transposition(outside: str) -> None:
    """All 128 notes by all 255 transpositions: a note outside 0 to 127 is not played, or it is folded to the nearest
    note of the same name within."""
    for semitones in range(-127, 128):
        step = step_of(f'filter = "transpose", semitones = {semitones}, outside = "{outside}"')
        for note in range(128):
            meant = note + semitones
            octaves = range(meant % 12, 128, 12)
            plays = [meant] if meant in octaves else [min(octaves, key=lambda key: abs(key - meant))]
            if outside == "drop" and meant not in octaves:
                plays = []
            assert at_once(step, bytes((0x90, note, 1))) == [bytes((0x90, key, 1)) for key in plays]


@given(st.integers(-127, 127), st.integers(0, 127))
def test_folding_keeps_the_name_and_moves_no_further_than_needed(semitones: int, note: int) -> None:
    """Every note folds to one of the same name in 0 to 127, less than an octave from the end that it passed."""
    step = step_of(f'filter = "transpose", semitones = {semitones}, outside = "fold"')
    (out,) = at_once(step, bytes((0x90, note, 1)))
    meant = note + semitones
    assert (out[1] - meant) % 12 == 0
    if 0 <= meant <= 127:
        assert out[1] == meant
    else:
        assert out[1] in (range(12) if meant < 0 else range(116, 128))


@pytest.mark.parametrize("semitones", ["128", "-128", "1.5", '"12"', "true"])
def test_what_is_allowed_is_said(semitones: str) -> None:
    """Semitones must be a whole number from -127 to 127."""
    assert "semitones from -127 to 127" in refusal(f'filter = "transpose", semitones = {semitones}')


def test_outside_is_drop_or_fold() -> None:
    """An unknown word for outside gets an answer with the two allowed; semitones must be given."""
    assert "'drop' or 'fold'" in refusal('filter = "transpose", semitones = 1, outside = "wrap"')
    assert refusal('filter = "transpose"').startswith("semitones")
