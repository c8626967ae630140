"""Which tests reach which lines of the source, and how long each takes: one run of all of them under coverage.

python -m tests.mutants.reach REACH.json        in a copy of the tree
"""

import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from itertools import accumulate
from pathlib import Path
from typing import Final, NamedTuple

import coverage
import pytest

from tests.mutants.mutators import Mutant
from tests.mutants.trial import OPTIONS, Tree, register_profile
from tests.support.paths import ROOT

#: the source that is mutated, and the tests that are to notice
SOURCES: Final = ("engine/core", "engine/midi", "engine/rig/edit", "filters")
_FIGURES: Final = "tests/test_handbook_figures.py"  # holds constants that only the import carries out
TESTS: Final = (
    *(f"tests/{each}" for each in ("core", "filters", "midi", "rig", "instruments", "offline", "cluster/pure")),
    _FIGURES,
)

_AT_LEAST: Final = 20.0  # seconds that any test may take
_TIMES_AS_LONG: Final = 20


class Reach(NamedTuple):
    """`seconds`: by test, how long it takes; `lines`: by file and line, the tests that reach it while they run."""

    seconds: dict[str, float]
    lines: dict[str, dict[int, list[str]]]

    @classmethod
    def read(cls, file: Path) -> "Reach":
        """What `measure` has kept in a file."""
        kept = json.loads(file.read_text())
        names = list(kept["seconds"])
        return cls(
            kept["seconds"],
            {
                source: {int(line): [names[place] for place in places] for line, places in lines.items()}
                for source, lines in kept["lines"].items()
            },
        )

    def tests_of(self, mutant: Mutant, most: float, first: str | None = None) -> list[dict[str, float]]:
        """The tests that reach a mutant, with the seconds that each may take: those of its own module, and the others.

        The fastest come first, until all are together `most` seconds long; before them comes `first`, if there is such
        a test. What an import or a fork reaches, and no test in its own process, concerns the test modules that reach
        anything of its file, or all of them if nothing does.
        """
        lines = self.lines.get(mutant.file, {})
        reached = {test for line in range(mutant.first, mutant.last + 1) for test in lines.get(line, ())}
        if mutant.at_import or not reached:
            modules = {_FIGURES, *(_module(test) for tests in lines.values() for test in tests)}
            reached = {test for test in self.seconds if len(modules) == 1 or _module(test) in modules}
        name = f"/test_{Path(mutant.file).stem}"
        ordered = sorted(reached, key=lambda test: (name not in _module(test), self.seconds[test], test))
        until = accumulate(self.seconds[test] for test in ordered)
        chosen = [test for test, end in zip(ordered, until, strict=True) if end <= most]
        own = [test for test in chosen if name in _module(test)]
        parts = ([first] if first in self.seconds else [], own, chosen[len(own) :])
        return [{test: _AT_LEAST + _TIMES_AS_LONG * self.seconds[test] for test in part} for part in parts if part]


def _module(test: str) -> str:
    return test.partition("::")[0]


def measure(tree: Tree, file: Path) -> Reach:
    """Run all tests in a copy of the tree; `file` keeps what was found. Raises RuntimeError if one of them fails."""
    done = tree.run("tests.mutants.reach", str(file.absolute()))
    if done.returncode != pytest.ExitCode.OK:
        raise RuntimeError(f"the tests fail without any mutant:\n{done.stdout[-4000:]}{done.stderr[-4000:]}")
    return Reach.read(file)


class Timekeeper:
    """A pytest plug-in: tells coverage which test runs, and notes how long each takes."""

    def __init__(self, coverage_: coverage.Coverage) -> None:
        self._coverage = coverage_
        self.seconds: dict[str, float] = defaultdict(float)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        if sys.gettrace() is None:  # a test had a trace of its own, and took ours away
            self._coverage.stop()
            self._coverage.start()
        self._coverage.switch_context(item.nodeid)
        try:
            return (yield)
        finally:
            self._coverage.switch_context("")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.skipped:
            self.seconds[report.nodeid] += report.duration


def main(file: str) -> int:
    """Run the tests and keep what was found; answers with pytest's exit code."""
    register_profile()
    watched = coverage.Coverage(data_file=None, source=list(SOURCES), config_file=False, messages=False)
    watched.start()
    keeper = Timekeeper(watched)
    code = pytest.main([*OPTIONS, "-m", "not slow", *TESTS], plugins=[keeper])
    watched.stop()
    places = {test: place for place, test in enumerate(keeper.seconds)}
    data = watched.get_data()
    lines: dict[str, dict[int, list[int]]] = {}
    for measured in data.measured_files():
        found = data.contexts_by_lineno(measured)
        lines[str(Path(measured).relative_to(ROOT))] = {
            line: sorted(places[test] for test in tests if test in places) for line, tests in found.items()
        }
    Path(file).write_text(json.dumps({"seconds": keeper.seconds, "lines": lines}))
    return int(code)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
