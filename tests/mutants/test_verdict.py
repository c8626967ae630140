"""What a run of mutants says at its end, and what a reason must be."""

import pytest

from tests.mutants import __main__ as command
from tests.mutants import equivalent
from tests.mutants.__main__ import Outcome, all_mutants, sample, verdict
from tests.mutants.equivalent import key_of
from tests.mutants.mutators import mutants

FOUND = mutants("any.py", b"a = 1 + 2 * 3 - 4\n")


def outcomes(*caught_by: str | None) -> list[Outcome]:
    return [Outcome(mutant, name, 3) for mutant, name in zip(FOUND, caught_by, strict=False)]


def test_a_reason_whose_line_has_changed_is_outdated(monkeypatch: pytest.MonkeyPatch) -> None:
    """A run names it and ends; nobody's edit of that line is held up."""
    monkeypatch.setattr(equivalent, "reasons", lambda: {key_of(FOUND[0]): "so", ("any.py", "a = 7", "a = 8", ""): "so"})
    assert equivalent.outdated(FOUND) == [("any.py", "a = 7", "a = 8", "")]


def test_the_reasons_are_in_order() -> None:
    """Each mutant has one reason, in words."""
    assert all(" " in words for words in equivalent.reasons().values())


def test_a_survivor_is_listed_with_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nine of ten are too few; the tenth is listed with what was changed."""
    monkeypatch.setattr(command, "reasons", dict)
    lines, well = verdict(outcomes(*["test_a"] * 9, None))
    assert not well
    assert lines[0] == "10 mutants, 0 of them equivalent; of the other 10 9 are caught: 90.0% (goal 95%)"
    assert f"    + {FOUND[9].becomes}" in lines


def test_an_equivalent_mutant_does_not_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a reason, the tenth is no fault of the tests."""
    monkeypatch.setattr(command, "reasons", lambda: {key_of(FOUND[9]): "no one can tell"})
    lines, well = verdict(outcomes(*["test_a"] * 9, None))
    assert well
    assert "    no one can tell" in lines


def test_a_reason_for_a_caught_mutant_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a test catches is not equivalent."""
    monkeypatch.setattr(command, "reasons", lambda: {key_of(FOUND[0]): "no one can tell"})
    lines, well = verdict(outcomes(*["test_a"] * 10))
    assert not well
    assert "    caught by test_a" in lines


def test_a_sample_changes_only_where_the_source_does() -> None:
    """Twenty of all mutants, by a seed: without those of one file, the others are still among the twenty."""
    possible = all_mutants()
    chosen = sample(possible, 20, 7)
    assert chosen == sample(reversed(possible), 20, 7)
    assert chosen != sample(possible, 20, 8)
    gone = chosen[0].file
    left = [each for each in chosen if each.file != gone]
    assert sample((each for each in possible if each.file != gone), 20, 7)[: len(left)] == left
