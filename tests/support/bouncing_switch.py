"""Worn foot switches for the tests: contacts that bounce for 1 to 40 ms each time they close or open.

The bursts of contacts are modelled on worn switches (common practice, no source): contacts open and close with less
than 10 ms between two changes, and end in the intended state.
"""

from collections.abc import Sequence

from hypothesis import strategies as st

MS = 1_000_000
Change = tuple[int, bool]  # time in ns, whether the contact is closed from then on

#: fixed examples of such bursts, as ms after the first contact
RECORDED: tuple[tuple[float, ...], ...] = (
    (0,),
    (0, 0.3, 0.9),
    (0, 1, 2.5, 4, 7),
    (0, 2, 5, 11, 14, 20, 21),
    (0, 4, 9, 15, 22, 29, 31, 33, 38, 39, 40),
    (0, 9, 18, 27, 36, 38, 40),
)


@st.composite
def bursts(draw: st.DrawFn) -> tuple[float, ...]:
    """Times of an odd number of changes, in ms after the first, at most 40 ms."""
    gaps = draw(st.lists(st.integers(1, 90), max_size=30))
    times = [0.0]
    for gap in gaps:
        if times[-1] + gap / 10 <= 40:
            times.append(times[-1] + gap / 10)
    return tuple(times if len(times) % 2 else times[:-1])


def changes(at: int, closed: bool, burst: Sequence[float]) -> list[Change]:
    """The changes of a contact that closes (or opens) at `at` ms."""
    return [(round((at + after) * MS), closed ^ bool(place % 2)) for place, after in enumerate(burst)]


def presses(times: Sequence[tuple[int, int]], down: Sequence[float] = (0,), up: Sequence[float] = (0,)) -> list[Change]:
    """Presses, each from one time to another in ms, with these bursts at both ends."""
    return [one for begin, end in times for one in changes(begin, True, down) + changes(end, False, up)]
