"""Breaks a rig of format 2, and checks how each break is reported."""

from collections.abc import Iterable
from typing import NamedTuple

import pytest

from engine.rig.read.load import RigError, read
from tests.support.plain_rig_2 import RIG_2


class Break(NamedTuple):
    """What is replaced in the good rig, by what, and every problem that must be reported: line, key, words.

    What is allowed: the rig file's own definition (handbook). The lines are those of the text in `plain_rig_2`.
    """

    old: str
    new: str
    expected: list[tuple[int, str, str]]


def broken(breaks: Iterable[tuple[str, str, list[tuple[int, str, str]]]]) -> pytest.MarkDecorator:
    """Run a test with each of these as `found`."""
    return pytest.mark.parametrize(
        "found", [pytest.param(Break(*each), id=f"{each[0]} => {each[1]}"[:80]) for each in breaks]
    )


def check(found: Break) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence."""
    assert RIG_2.count(found.old) == 1
    with pytest.raises(RigError) as caught:
        read(RIG_2.replace(found.old, found.new), "pit.toml")
    assert [(problem.line, problem.key) for problem in caught.value.problems] == [case[:2] for case in found.expected]
    for problem, (_, _, words) in zip(caught.value.problems, found.expected, strict=True):
        assert words in problem.text
        assert problem.file == "pit.toml"
