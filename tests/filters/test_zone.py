"""`zone`: only a part of the keyboard passes, or only soft or hard playing."""

from hypothesis import given
from hypothesis import strategies as st

from tests.support.filter_bench import at_once, heard, refusal, step_of


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


def test_a_fade_makes_the_keys_at_both_ends_softer() -> None:
    """Three keys of fade: the outermost key has a quarter of its velocity, the next ones two and three quarters."""
    zone = 'filter = "zone", notes = [48, 59], fade = 3'
    pressed = [f"90 {note:02X} 64" for note in (48, 49, 50, 51, 56, 57, 58, 59)]
    assert [message[-2:] for message in heard(zone, *pressed)] == ["19", "32", "4B", "64", "64", "4B", "32", "19"]
    assert heard(zone, "90 2F 64", "90 3C 64") == []


def test_an_open_end_does_not_fade() -> None:
    """The lowest and the highest key that MIDI knows are no border between two sounds."""
    assert heard('filter = "zone", notes = [0, 59], fade = 3', "90 00 64", "90 3B 64") == ["90 00 64", "90 3B 19"]
    assert heard('filter = "zone", notes = [60, 127], fade = 3', "90 7F 64", "90 3C 64") == ["90 7F 64", "90 3C 19"]


@given(st.integers(1, 20), st.integers(0, 127), st.integers(1, 127))
def test_two_zones_that_share_the_keys_of_their_fade_cross_over(keys: int, note: int, velocity: int) -> None:
    """Wherever a key is, the velocities of both zones add up to that of the press, to within one; none is 0."""
    low = step_of(f'filter = "zone", notes = [0, {59 + keys}], fade = {keys}')
    high = step_of(f'filter = "zone", notes = [60, 127], fade = {keys}')
    played = [one[2] for step in (low, high) for one in at_once(step, bytes((0x90, note, velocity)))]
    assert abs(sum(played) - velocity) <= 1
    assert all(played)


def test_a_fade_never_touches_releases_and_pressure() -> None:
    """Releases in either form and key pressure keep their values at the ends of a zone."""
    zone = 'filter = "zone", notes = [60, 72], fade = 6'
    assert heard(zone, "80 3C 40", "90 3C 00", "A0 3C 55") == ["80 3C 40", "90 3C 00", "A0 3C 55"]


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of notes, velocity" in refusal('filter = "zone"')
    assert "a number of keys from 1 to 64" in refusal('filter = "zone", notes = [0, 60], fade = 0')
    assert "fade needs notes" in refusal('filter = "zone", velocity = [1, 60], fade = 4')
    assert "two values, [low, high]" in refusal('filter = "zone", notes = [60]')
    assert "the lower one first" in refusal('filter = "zone", notes = ["C5", "C4"]')
    assert 'its name such as "C4" (note 60)' in refusal('filter = "zone", notes = ["C4", "H5"]')
    assert "a note from 0 to 127" in refusal('filter = "zone", notes = [0, 128]')
    assert "a value from 0 to 127" in refusal('filter = "zone", velocity = [0, 128]')
