"""How the bench tells what an attack costs from what else a computer does. (Our own measure; no outside source.)"""

import random

import pytest

from bench.attacks import SECONDS, TURNS, compared
from bench.targets import TARGETS
from tests.support.timed_notes import APART, TimedNotes

NOTES = int(SECONDS / APART)
(MOST,) = (each.bound for each in TARGETS if each.figure == "attacks.worst ratio")


def _turn(chance: random.Random, slower: float = 1.0) -> list[float]:
    """Delays (µs) of one turn as they were measured on a machine with other work: half of them below 350."""
    return [slower * chance.lognormvariate(5.85, 0.3) for _ in range(NOTES)]


def _stalled(delays: list[float], stall: float, at: int) -> list[float]:
    """The same while nothing moves for so long (µs): each note that falls into it waits for its end."""
    ends = [stall - 1e6 * APART * (note - at) if note >= at else 0.0 for note in range(NOTES)]
    return [delay + max(0.0, end) for delay, end in zip(delays, ends, strict=True)]


def _notes(delays: list[float]) -> TimedNotes:
    return TimedNotes(delays, 0, [])


@pytest.mark.parametrize("seed", range(5))
def test_a_stall_of_20_ms_in_each_attacked_turn_misses_the_target(seed: int) -> None:
    """Though only ten notes of 800 meet it, and though the quiet turns are noisy."""
    chance = random.Random(seed)
    turns = [
        (_notes(_turn(chance)), _notes(_stalled(_turn(chance), 20_000, chance.randrange(NOTES - 50))))
        for _ in range(TURNS)
    ]
    assert compared(turns)["ratio"] > 2 * MOST


@pytest.mark.parametrize("seed", range(5))
def test_what_else_the_computer_does_misses_no_target(seed: int) -> None:
    """Two attacked turns with a third of a second in which nothing runs, and a machine that gets slower and slower."""
    chance = random.Random(seed)
    turns = []
    for number in range(TURNS):
        quiet, beside = (_turn(chance, 1 + number / 2) for _ in range(2))
        turns.append((_notes(quiet), _notes(_stalled(beside, 345_000, 100) if number in (1, 3) else beside)))
    assert compared(turns)["ratio"] < MOST


@pytest.mark.parametrize("seed", range(5))
def test_noise_in_the_quiet_turns_hides_no_stall(seed: int) -> None:
    """Nor do two quiet turns that are worse than any attack make it look harmless."""
    chance = random.Random(seed)
    turns = []
    for number in range(TURNS):
        quiet = _turn(chance)
        beside = _stalled(_turn(chance), 20_000, 300)
        turns.append((_notes(_stalled(quiet, 345_000, 100) if number in (1, 3) else quiet), _notes(beside)))
    assert compared(turns)["ratio"] > MOST
