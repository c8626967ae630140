"""`zone`: only a part of the keyboard passes, or only soft or hard playing."""

from tests.support.filter_bench import heard, refusal


def test_both_ends_of_a_zone_count() -> None:
    """The lowest and the highest key of a zone play, the keys next to them do not."""
    zone = 'filter = "zone", notes = [48, 59]'
    assert heard(zone, "90 2F 40", "90 30 40", "90 3B 40", "90 3C 40") == ["90 30 40", "90 3B 40"]


def test_note_names_are_understood() -> None:
    """ "C3" to "B3" is 48 to 59 where middle C, note 60, is C4."""
    zone = 'filter = "zone", notes = ["C3", "B3"]'
    assert heard(zone, "90 2F 40", "90 30 40", "90 3B 40", "90 3C 40") == ["90 30 40", "90 3B 40"]
    assert heard('filter = "zone", notes = [60, "C4"]', "90 3C 40", "90 3D 40") == ["90 3C 40"]


def test_releases_and_pressure_follow_their_key() -> None:
    """Releases in either form and key pressure pass by note range, other messages always pass."""
    zone = 'filter = "zone", notes = [60, 127]'
    assert heard(zone, "80 3C 40", "90 3C 00", "A0 3C 05") == ["80 3C 40", "90 3C 00", "A0 3C 05"]
    assert heard(zone, "80 3B 40", "90 3B 00", "A0 3B 05") == []
    assert heard(zone, "B0 00 00", "C0 00", "D0 00", "E0 00 00") == ["B0 00 00", "C0 00", "D0 00", "E0 00 00"]


def test_a_velocity_zone_never_touches_releases() -> None:
    """A velocity zone selects presses, both ends included; every release within its notes passes."""
    soft = 'filter = "zone", velocity = [1, 64]'
    assert heard(soft, "90 3C 01", "90 3C 40", "90 3C 41") == ["90 3C 01", "90 3C 40"]
    assert heard(soft, "80 3C 7F", "90 3C 00", "A0 3C 7F") == ["80 3C 7F", "90 3C 00", "A0 3C 7F"]
    assert heard('filter = "zone", notes = [60, 60], velocity = [100, 127]', "80 3C 01", "80 3D 01", "90 3C 63") == [
        "80 3C 01"
    ]


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of notes, velocity" in refusal('filter = "zone"')
    assert "two values, [low, high]" in refusal('filter = "zone", notes = [60]')
    assert "the lower one first" in refusal('filter = "zone", notes = ["C5", "C4"]')
    assert 'its name such as "C4" (note 60)' in refusal('filter = "zone", notes = ["C4", "H5"]')
    assert "a note from 0 to 127" in refusal('filter = "zone", notes = [0, 128]')
    assert "a value from 0 to 127" in refusal('filter = "zone", velocity = [0, 128]')
