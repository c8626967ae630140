"""`echo`: each note is repeated, softer each time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.kinds import is_press
from filters.registry import Later, Step
from tests.support.filter_bench import MS, PlainSurroundings, heard, refusal, step_in, step_of

ECHO = 'filter = "echo", milliseconds = 100, repeats = 3, fade = 50'


def test_a_note_is_repeated_softer_each_time() -> None:
    """Three repeats 100 ms apart, each half as loud; releases follow at the same distance with their own velocity."""
    step = step_of(ECHO)
    assert heard(step, "90 3C 40") == ["90 3C 40", "90 3C 20 at 100", "90 3C 10 at 200", "90 3C 08 at 300"]
    assert heard(step, "80 3C 21", now=50 * MS) == [
        "80 3C 21",
        "80 3C 21 at 150",
        "80 3C 21 at 250",
        "80 3C 21 at 350",
    ]


def test_a_release_written_as_a_soft_press_stays_one() -> None:
    """A note-on of velocity 0 is a release (MIDI 1.0 p. 10), and so are its repeats."""
    step = step_of(ECHO)
    heard(step, "95 3C 40")
    assert heard(step, "95 3C 00") == ["95 3C 00", "95 3C 00 at 100", "95 3C 00 at 200", "95 3C 00 at 300"]


def test_silent_repeats_are_left_out() -> None:
    """A repeat that would have velocity 0, which is a release (MIDI 1.0 p. 10), is not made, and neither is its end."""
    step = step_of('filter = "echo", milliseconds = 100, repeats = 16, fade = 50')
    assert heard(step, "90 3C 04") == ["90 3C 04", "90 3C 02 at 100", "90 3C 01 at 200"]
    assert heard(step, "80 3C 40") == ["80 3C 40", "80 3C 40 at 100", "80 3C 40 at 200"]


def test_without_fade_all_are_equally_loud() -> None:
    """fade = 0 keeps the loudness of the key press."""
    made = heard('filter = "echo", milliseconds = 10, repeats = 2, fade = 0', "90 3C 7F")
    assert made == ["90 3C 7F", "90 3C 7F at 10", "90 3C 7F at 20"]


def test_a_release_without_a_press_has_no_repeats() -> None:
    """The release of a key pressed elsewhere, or before the scene, passes alone."""
    assert heard(ECHO, "80 3C 40") == ["80 3C 40"]


@pytest.mark.parametrize("message", ["B0 40 7F", "E0 00 40", "D0 10", "A0 3C 10", "C0 05", "F8", "F0 7D 01 F7"])
def test_only_notes_are_repeated(message: str) -> None:
    """Pedals, wheels, pressures, programs and system messages pass unchanged."""
    assert heard(ECHO, message) == [message]


def test_the_defaults() -> None:
    """At 250 ms with three repeats, each is 40 per cent softer."""
    made = heard('filter = "echo"', "90 3C 64")
    assert made == ["90 3C 64", "90 3C 3C at 250", "90 3C 24 at 500", "90 3C 16 at 750"]


def test_beats_follow_the_tempo_in_force() -> None:
    """Half a beat is 250 ms at 120 beats per minute, 500 ms at 60 (a minute has 60 seconds)."""
    half = 'filter = "echo", beats = 0.5, repeats = 2, fade = 0'
    assert heard(step_of(half, 120), "90 3C 40") == ["90 3C 40", "90 3C 40 at 250", "90 3C 40 at 500"]
    assert heard(step_of(half, 60), "90 3C 40") == ["90 3C 40", "90 3C 40 at 500", "90 3C 40 at 1000"]
    assert heard('filter = "echo", beats = 1, repeats = 1, fade = 0', "90 3C 40")[1:] == ["90 3C 40 at 500"]


def test_a_repeat_ends_after_it_began_though_the_tempo_rises() -> None:
    """The ends of the repeats keep the distance that the repeats had when the key was pressed."""
    around = PlainSurroundings(60)
    step = step_in('filter = "echo", beats = 1, repeats = 1, fade = 0', around)
    assert heard(step, "90 3C 40") == ["90 3C 40", "90 3C 40 at 1000"]
    around.bpm = 240
    assert heard(step, "80 3C 40", now=10 * MS) == ["80 3C 40", "80 3C 40 at 1010"]
    assert heard(step, "90 3C 40", now=20 * MS) == ["90 3C 40", "90 3C 40 at 270"]


@given(
    st.lists(
        st.tuples(st.booleans(), st.sampled_from([1, 2, 4, 127]), st.integers(0, 400), st.integers(20, 300)),
        max_size=30,
    )
)
def test_no_repeat_in_beats_is_left_without_its_end(played: list[tuple[bool, int, int, int]]) -> None:
    """The same holds in beats, whatever the tempo does meanwhile."""
    around = PlainSurroundings()
    step = step_in('filter = "echo", beats = 0.25, repeats = 3, fade = 50', around)
    presses, ends = _repeats(step, played, around)
    assert len(ends) >= len(presses)
    assert all(end >= began for began, end in zip(sorted(presses)[::-1], sorted(ends)[::-1], strict=False))


def _repeats(
    step: Step, played: list[tuple[bool, int, int, int]], around: PlainSurroundings
) -> tuple[list[int], list[int]]:
    """The times at which repeats begin and end of what is played on one key; all that is down is released last."""
    presses: list[int] = []
    ends: list[int] = []
    now = down = 0

    def play(message: bytes) -> None:
        for one in step(message, now):
            if isinstance(one, Later):
                (presses if is_press(one.message) else ends).append(one.at)

    for pressed, loud, gap, tempo in played:
        now, around.bpm = now + gap * MS, tempo
        if pressed:
            down += 1
            play(bytes((0x90, 60, loud)))
        elif down:
            down -= 1
            play(b"\x80\x3c\x40")
    for _ in range(down):
        play(b"\x80\x3c\x40")
    return presses, ends


@given(st.lists(st.tuples(st.booleans(), st.sampled_from([1, 2, 4, 127]), st.integers(0, 400)), max_size=30))
def test_no_repeat_is_left_without_its_end(played: list[tuple[bool, int, int]]) -> None:
    """Whatever is pressed and released on one key, how loud, and whichever releases are lost: once every key that is
    down is released, there have been at every time at least as many ends as presses that began before."""
    presses, ends = _repeats(step_of(ECHO), [(*each, 120) for each in played], PlainSurroundings())
    assert len(ends) >= len(presses)
    assert all(end >= began for began, end in zip(sorted(presses)[::-1], sorted(ends)[::-1], strict=False))


def test_a_lost_release_lets_no_later_repeat_hang() -> None:
    """A soft press whose release never came (its cable was pulled) does not shorten what is owed to the next press."""
    step = step_of(ECHO)
    heard(step, "90 3C 01")
    heard(step, "90 3C 7F")
    assert len(heard(step, "80 3C 40")) == 4


def test_two_presses_of_one_key_are_owed_the_ends_of_the_louder() -> None:
    """Whichever is released first: one release too many ends nothing, one too few would leave a repeat hanging."""
    for first, second in (("7F", "02"), ("02", "7F")):
        step = step_of(ECHO)
        heard(step, f"90 3C {first}", f"90 3C {second}")
        assert [len(heard(step, "80 3C 40")) for _ in range(3)] == [4, 4, 1]


def test_what_is_allowed_is_said() -> None:
    """Allowed are 1 to 5000 ms, 1 to 16 repeats, 0 to 99 per cent."""
    assert "milliseconds from 1 to 5000" in refusal('filter = "echo", milliseconds = 0')
    assert "a number of beats from 0.05 to 16" in refusal('filter = "echo", beats = 0')
    assert "a number of beats from 0.05 to 16" in refusal('filter = "echo", beats = true')
    assert "either milliseconds or beats" in refusal('filter = "echo", milliseconds = 250, beats = 1')
    assert "repeats from 1 to 16" in refusal('filter = "echo", repeats = 17')
    assert "fade in per cent from 0 to 99" in refusal('filter = "echo", fade = 100')
    assert refusal('filter = "echo", feedback = 3').startswith("feedback")
