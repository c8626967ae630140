"""Sentences about names that do not exist."""

from difflib import get_close_matches

import pytest

from engine.rig.read.raw_data import no_such


def test_a_wrong_name_is_compared_with_few_names_however_many_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of twenty thousand names those of about its length are looked at, so the right one is still found."""
    compared: list[int] = []

    def counted(word: str, possibilities: dict[str, str], n: int) -> list[str]:
        compared.append(len(possibilities))
        return get_close_matches(word, possibilities, n)

    monkeypatch.setattr("engine.rig.read.raw_data.get_close_matches", counted)
    known = [f"a chain that is called number {place}" for place in range(20_000)]
    assert 'did you mean "Left hand"?' in no_such("chain", "left hnad", [*known, "Left hand"])
    assert compared == [300]


def test_a_name_of_a_thousand_letters_is_not_compared_at_all() -> None:
    """It would take seconds for one; it is still reported, shortened."""
    assert "did you mean" not in no_such("chain", "a" * 1000, ["a" * 999, "b"])
