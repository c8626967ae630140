"""A mutant in a copy of the tree: caught by a test that notices it, and by nothing else."""

from pathlib import Path

import pytest

from tests.mutants.__main__ import all_mutants
from tests.mutants.trial import Tree
from tests.support.paths import ROOT

NOTICES = "tests/filters/test_transpose.py::test_notes_and_their_pressure_move"
PASSES = "tests/filters/test_transpose.py::test_what_is_allowed_is_said[128]"


@pytest.mark.slow
def test_a_mutant_is_caught_by_the_first_test_that_notices(tmp_path: Path) -> None:
    """The name of that test is the answer; None, if no test notices. The copy is then as it was, and so is the tree."""
    mutant = next(each for each in all_mutants() if each.becomes.startswith("moved = (note - settings.semitones"))
    before = (ROOT / mutant.file).read_bytes()
    tree = Tree(tmp_path / "copy")
    assert tree.catches(mutant, [{PASSES: 60}, {NOTICES: 60}]) == NOTICES
    assert tree.catches(mutant, [{PASSES: 60}]) is None
    assert (tree.path / mutant.file).read_bytes() == before
    assert (ROOT / mutant.file).read_bytes() == before
    with pytest.raises(RuntimeError, match="did not come about"):
        tree.catches(mutant, [{"tests/filters/test_transpose.py::test_nobody_wrote": 60}])


@pytest.mark.slow
def test_a_mutant_that_hangs_is_caught(tmp_path: Path) -> None:
    """A test that takes longer than it may counts as failed."""
    returns = next(each for each in all_mutants() if each.file == "filters/transpose.py" and each.function == "build")
    hangs = returns._replace(new=returns.new.replace(b"return None", b"while True: pass"))
    assert hangs.new != returns.new
    assert Tree(tmp_path / "copy").catches(hangs, [{NOTICES: 3}]) is not None
