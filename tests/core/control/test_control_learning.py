"""Learning a switch from what it sends: its condition and its guard. (Common practice, no source.)"""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.control.control_learning import LearnedControl, learn
from tests.support.bouncing_switch import MS, bursts, presses

FEET = ((0, 200), (1000, 1300), (2000, 2150))


def heard(*messages: tuple[float, str]) -> list[tuple[int, bytes]]:
    return [(round(at * MS), bytes.fromhex(message)) for at, message in messages]


def thrice(*messages: str) -> list[tuple[int, bytes]]:
    """Three presses a second apart, each of these messages in one go."""
    return heard(*((1000 * press + place, one) for press in range(3) for place, one in enumerate(messages)))


def worn(form: str, down: Sequence[float], up: Sequence[float]) -> list[tuple[int, bytes]]:
    found = []
    for at, closed in presses(FEET, down, up):
        if form == "controller":
            found.append((at, bytes((0xB0, 80, 127 * closed))))
        else:
            found.append((at, bytes((0x90, 36, 100 * closed))))
    return found


def learned(stream: list[tuple[int, bytes]]) -> LearnedControl:
    found = learn(stream)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("stream", "when"),
    [
        (thrice("C0 0B"), {"program": 12}),
        (thrice("F3 00"), {"song": 1}),
        (thrice("F0 7D 01 f7"), {"sysex": "F0 7D 01 F7"}),
        (heard((0, "90 24 40"), (100, "80 24 00"), (900, "90 24 40"), (1000, "90 24 00")), {"note": 36}),
        (heard((0, "B0 50 7F"), (100, "B0 50 00"), (900, "B0 50 7F")), {"controller": 80}),
        (thrice("B0 50 7F"), {"controller": 80}),  # the same at each press
        (heard((0, "B0 50 01"), (100, "B0 50 00"), (900, "B0 50 01")), {"controller": 80, "at_least": 1}),
        (heard((0, "B0 50 32"), (100, "B0 50 00"), (900, "B0 50 32")), {"controller": 80, "at_least": 25}),
        (thrice("B0 10 01"), {"controller": 16, "turn": "up"}),
        (thrice("B0 10 07"), {"controller": 16, "turn": "up"}),  # steps are small: 7 at the most
        (thrice("B0 10 08"), {"controller": 16, "at_least": 4}),
        (heard((0, "B0 10 79"), (900, "B0 10 01")), {"controller": 16, "turn": "down"}),  # 121 is 7 down
        (heard((0, "B0 10 78"), (900, "B0 10 01")), {"controller": 16}),
        (heard((0, "B0 10 7F"), (90, "B0 10 7E"), (900, "B0 10 02")), {"controller": 16, "turn": "down"}),
        (thrice("B0 00 01", "B0 20 02", "C0 0B"), {"program": 12}),  # bank select is part of it (MIDI 1.0 p. 13)
        (thrice("FE", "E0 00 40", "D0 10", "90 24 40", "A0 24 30", "80 24 40"), {"note": 36}),
        ([*heard((-100, "C0 01")), *thrice("C0 0B")], {"program": 12}),  # the one that was pressed most often
    ],
)
def test_the_condition_of_a_switch(stream: list[tuple[int, bytes]], when: dict[str, object]) -> None:
    """The message that a switch sends at each press becomes its condition, in the rig file's numbers."""
    assert learned(stream).when == when


@pytest.mark.parametrize(
    "stream", [[], heard((0, "E0 00 40"), (10, "F8")), heard((0, "80 24 40")), heard((0, "B0 40 00"))]
)
def test_nothing_to_go_by(stream: list[tuple[int, bytes]]) -> None:
    """Wheels, clocks and releases are not switches."""
    assert learn(stream) is None


def test_a_pedal_that_is_swept_is_one_press_without_bounce() -> None:
    """All the values of an expression pedal count as one press each time it goes down."""
    sweep = [*range(0, 128, 5), *range(127, -1, -5)]
    stream = heard(*((2000 * press + 10 * place, f"B0 0B {value:02X}")
                     for press in range(3) for place, value in enumerate(sweep)))  # fmt: skip
    assert learned(stream)[:3] == ({"controller": 11}, 3, 0.0)


@given(st.sampled_from(["controller", "note"]), bursts(), bursts())
def test_the_bounce_that_is_measured(form: str, down: Sequence[float], up: Sequence[float]) -> None:
    """The longest bounce at either end of a press is given to a tenth of a millisecond; three presses are counted."""
    found = learned(worn(form, down, up))
    assert found.presses == 3
    assert found.bounce == pytest.approx(max(down[-1], up[-1]))


@pytest.mark.parametrize(
    ("bounce", "guard"), [((0,), "30 ms"), ((0, 10, 20), "30 ms"), ((0, 5, 21), "40 ms"), ((0, 20, 40), "60 ms")]
)
def test_the_guard_that_is_proposed(bounce: Sequence[float], guard: str) -> None:
    """The guard is half as long again as the contacts bounced, in whole tens of ms, and at least 30 ms."""
    assert learned(worn("controller", bounce, (0,))).guard == guard


def test_a_switch_that_fires_twice() -> None:
    """A program that comes twice within a quarter of a second is one press of a worn switch."""
    stream = heard(*((1000 * press + at, "C0 0B") for press in range(3) for at in (0, 120)))
    assert learned(stream) == ({"program": 12}, 3, 120.0, stream[-1][0])
    assert learned(stream).guard == "180 ms"


@pytest.mark.parametrize(("apart", "count"), [(250, 1), (251, 2)])
def test_a_quarter_of_a_second_tells_two_presses_apart(apart: int, count: int) -> None:
    """Programs a quarter of a second apart are one press still; later ones are two."""
    assert learned(heard((0, "C0 0B"), (apart, "C0 0B"))).presses == count


def test_what_goes_on_bouncing_is_one_press() -> None:
    """It is the time since the last change that counts, however long the whole has lasted."""
    assert learned(heard(*((200 * place, "C0 0B") for place in range(4)))).presses == 1


@pytest.mark.parametrize(("apart", "count"), [(60, 1), (61, 2)])
def test_a_key_that_is_up_for_a_moment_is_still_the_same_press(apart: int, count: int) -> None:
    """What closes again within 60 ms bounces; later, the foot came back."""
    stream = heard((0, "90 24 40"), (300, "80 24 40"), (300 + apart, "90 24 40"), (900, "80 24 40"))
    assert learned(stream).presses == count


def test_a_knob_has_no_guard() -> None:
    """All steps of a knob count, so no guard is proposed for it."""
    stream = thrice("B0 10 01")
    assert learned(stream).guard is None
    assert learned(stream).last == stream[-1][0]
