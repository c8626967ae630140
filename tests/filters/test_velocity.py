"""`velocity`: playing sounds evenly loud, within limits, or as on a lighter or heavier keyboard."""

from hypothesis import given
from hypothesis import strategies as st

from tests.support.filter_bench import at_once, heard, refusal, step_of

CURVES = st.integers(-100, 100)


def shaped(text: str) -> list[int]:
    """The results for velocities 1 to 127."""
    step = step_of(f'filter = "velocity", {text}')
    return [at_once(step, bytes((0x90, 60, velocity)))[0][2] for velocity in range(1, 128)]


def test_fixed_makes_every_press_equal() -> None:
    """Every press has the fixed velocity."""
    assert set(shaped("fixed = 100")) == {100}


def test_range_is_a_straight_line_between_its_ends() -> None:
    """The softest press becomes low, the hardest high, and the middle the middle."""
    velocities = shaped("range = [40, 110]")
    assert (velocities[0], velocities[63], velocities[-1]) == (40, 75, 110)


def test_a_straight_curve_changes_nothing() -> None:
    """curve = 0 leaves every velocity unchanged."""
    assert shaped("curve = 0") == list(range(1, 128))


def test_the_curve_follows_its_formula() -> None:
    """curve = 50 is a square root, -50 a square: 32 of 127 becomes 64 and 8 (arithmetic)."""
    assert shaped("curve = 50")[31] == round((32 * 127) ** 0.5) == 64
    assert shaped("curve = -50")[31] == round(32 * 32 / 127) == 8


@given(CURVES)
def test_a_curve_keeps_order_and_the_hardest_press(curve: int) -> None:
    """Playing harder never sounds softer, the hardest stays the hardest, and a positive curve never softens."""
    velocities = shaped(f"curve = {curve}")
    assert velocities == sorted(velocities)
    assert velocities[-1] == 127
    assert all(new >= old if curve >= 0 else new <= old for old, new in enumerate(velocities, 1))


@given(CURVES, st.integers(1, 127), st.integers(1, 127))
def test_a_press_stays_a_press_and_within_range(curve: int, one: int, other: int) -> None:
    """No press becomes velocity 0, which would be a release (MIDI 1.0 p. 10), and all stay within the limits."""
    low, high = sorted((one, other))
    velocities = shaped(f"curve = {curve}, range = [{low}, {high}]")
    assert all(1 <= low <= velocity <= high for velocity in velocities)


def test_releases_stay_as_they_came() -> None:
    """Releases in either form, their velocity, and all other messages are unchanged."""
    stay = ["80 3C 11", "90 3C 00", "A0 3C 05", "B0 07 05", "D0 05"]
    for settings in ("fixed = 100", "range = [40, 110]", "curve = 100"):
        assert heard(f'filter = "velocity", {settings}', *stay) == stay


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of fixed, curve, range" in refusal('filter = "velocity"')
    assert "a velocity from 1 to 127" in refusal('filter = "velocity", fixed = 0')
    assert "a curve from -100 to 100" in refusal('filter = "velocity", curve = 101')
    assert "a velocity from 1 to 127" in refusal('filter = "velocity", range = [0, 100]')
    assert "the lower one first" in refusal('filter = "velocity", range = [100, 50]')
    assert "either fixed, or curve and range" in refusal('filter = "velocity", fixed = 90, range = [1, 127]')
