"""`latch`: a switch that must be held down becomes one that latches."""

from tests.support.filter_bench import heard, refusal, step_of

LATCH = 'filter = "latch", controllers = [64, 80]'


def test_a_press_turns_on_and_the_next_one_off() -> None:
    """Press for on, press again for off; the release sends nothing."""
    pedal = ["B0 40 7F", "B0 40 00"]
    assert heard(LATCH, *pedal * 4) == ["B0 40 7F", "B0 40 00", "B0 40 7F", "B0 40 00"]


def test_a_pedal_that_travels_counts_once() -> None:
    """A pedal that sends values as it moves is pressed when it reaches 64 or more (MIDI 1.0 p. 12), once each way."""
    step = step_of(LATCH)
    assert heard(step, "B0 40 20", "B0 40 40", "B0 40 60", "B0 40 7F", "B0 40 50") == ["B0 40 7F"]
    assert heard(step, "B0 40 3F", "B0 40 00", "B0 40 64") == ["B0 40 00"]


def test_switches_and_channels_are_apart() -> None:
    """Each switch has its own state on each channel."""
    step = step_of(LATCH)
    assert heard(step, "B0 40 7F", "B0 50 7F", "B1 40 7F") == ["B0 40 7F", "B0 50 7F", "B1 40 7F"]
    assert heard(step, "B0 40 00", "B0 40 7F") == ["B0 40 00"]


def test_other_controllers_and_messages_stay() -> None:
    """A controller that is not listed passes unchanged."""
    stay = ["B0 41 7F", "B0 41 00", "90 40 7F", "C0 40", "E0 40 7F"]
    assert heard(LATCH, *stay) == stay


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert refusal('filter = "latch"').startswith("controllers")
    assert "a list of controllers, at least one" in refusal('filter = "latch", controllers = 64')
    assert "a controller from 0 to 119" in refusal('filter = "latch", controllers = [123]')
