"""Runs tests in a copy of the tree, in a process of its own: those that one mutant can reach, up to the first failure.

python -m tests.mutants.trial TESTS.json        in a copy: {"NODE ID": seconds that it may take, …}, in their order
"""

import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

import hypothesis
import pytest

from tests.mutants.mutators import Mutant
from tests.support.paths import ROOT

_LEFT_BEHIND: Final = (".venv", ".git", ".*_cache", ".hypothesis", "build", "dist", "*.egg-info", "pictures", "bench")
_MEMORY: Final = 4 << 30  # bytes of addresses: a mutant that fills the memory must not take the machine with it

#: what every run of tests here has in common
OPTIONS: Final = (
    *("-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning", "-o", "timeout_method=thread"),
)


def use_few_examples_and_no_shrinking() -> None:
    """Hypothesis: a failure is enough, how small it can be made does not matter; nothing is random from run to run."""
    hypothesis.settings.register_profile(
        "mutants",
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
        database=None,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    hypothesis.settings.load_profile("mutants")


class Tree:
    """A copy of the tree that holds one mutant at a time."""

    def __init__(self, path: Path) -> None:
        """`path`: a folder that does not exist yet."""
        self.path = path
        shutil.copytree(ROOT, path, ignore=shutil.ignore_patterns(*_LEFT_BEHIND), symlinks=True)

    def run(self, module: str, *arguments: str, writes_bytecode: bool = False) -> subprocess.CompletedProcess[str]:
        """Run a module of this copy, at a low priority."""
        environment = os.environ | {"PYTHONPATH": str(self.path)}
        if not writes_bytecode:  # it would be taken for that of the next mutant of the same second and size
            environment["PYTHONDONTWRITEBYTECODE"] = "1"
        command = ["nice", "-n", "5", sys.executable, "-m", module, *arguments]
        return subprocess.run(command, cwd=self.path, env=environment, capture_output=True, text=True, check=False)

    def catches(self, mutant: Mutant, parts: Iterable[Mapping[str, float]]) -> str | None:
        """Which test catches a mutant; None if none does. `parts`: the tests (with the seconds that each may take) of
        one run after the other."""
        file = self.path / mutant.file
        source = file.read_bytes()
        for kept in (file.parent / "__pycache__").glob(f"{file.stem}.*"):
            kept.unlink()
        file.write_bytes(mutant.applied(source))
        try:
            return next((found for tests in parts if (found := self._failing(tests)) is not None), None)
        finally:
            file.write_bytes(source)

    def _failing(self, tests: Mapping[str, float]) -> str | None:
        """The first of these tests that fails."""
        chosen = self.path / "chosen-tests.json"
        chosen.write_text(json.dumps(tests))
        done = self.run("tests.mutants.trial", str(chosen))
        if done.returncode == pytest.ExitCode.OK:
            return None
        if done.returncode in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
            raise RuntimeError(f"a trial did not come about:\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
        return _first_failure(done.stdout) or f"the tests ended with status {done.returncode}"


def _first_failure(output: str) -> str:
    lines = [line.split(" ", 1)[1] for line in output.splitlines() if line.startswith(("FAILED ", "ERROR "))]
    return lines[0].partition(" - ")[0] if lines else ""


class ChosenTests:
    """A pytest plug-in: only these tests, in this order, each with its own time limit."""

    def __init__(self, limits: Mapping[str, float]) -> None:
        self._limits = limits
        self._places = {name: place for place, name in enumerate(limits)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (each for each in items if each.nodeid in self._limits), key=lambda each: self._places[each.nodeid]
        )
        for item in items:
            item.add_marker(pytest.mark.timeout(self._limits[item.nodeid]))


def main(chosen: str) -> int:
    """Run the chosen tests; answers with pytest's exit code."""
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    use_few_examples_and_no_shrinking()
    limits: dict[str, float] = json.loads(Path(chosen).read_text())
    modules = dict.fromkeys(name.partition("::")[0] for name in limits)
    return int(pytest.main([*OPTIONS, "-x", "-rfE", "--tb=no", *modules], plugins=[ChosenTests(limits)]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
