"""Runs tests in a copy of the tree, in a process of its own: those that one mutant can reach, up to the first failure.

python -m tests.mutants.trial TESTS.json        in a copy: {"NODE ID": seconds that it may take, …}, in their order
"""

import json
import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Final

import hypothesis
import pytest

from tests.mutants.mutators import Mutant
from tests.support.paths import ROOT

_LEFT_BEHIND: Final = (".venv", ".git", ".*_cache", ".hypothesis", "build", "dist", "*.egg-info", "pictures", "bench")
_MEMORY: Final = 4 << 30  # bytes of addresses: a mutant that fills the memory must not take the machine with it

#: what takes long to load; plug-ins of pytest among it
_LIBRARIES: Final = ("mido", "pydantic", "pytest_timeout", "pytest_trio", "tomlkit", "trio", "_hypothesis_pytestplugin")

#: what every run of tests here has in common
OPTIONS: Final = (
    *("-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist", "--hypothesis-profile=mutants"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning", "-o", "timeout_method=thread"),
)


def register_profile() -> None:
    """How hypothesis runs: a failure is enough, however small it could be made; nothing is random from run to run.

    `OPTIONS` chooses this.
    """
    hypothesis.settings.register_profile(
        "mutants",
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
        database=None,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(hypothesis.HealthCheck),
    )


class Tree:
    """A copy of the tree that holds one mutant at a time."""

    def __init__(self, path: Path) -> None:
        """`path`: a folder that does not exist yet."""
        self.path = path
        shutil.copytree(ROOT, path, ignore=shutil.ignore_patterns(*_LEFT_BEHIND), symlinks=True)
        self._written = int(time.time())
        self._chosen = path / "chosen-tests.json"
        self._environment = os.environ | {"PYTHONPATH": str(path), "PYTHONDONTWRITEBYTECODE": ""}
        self._server = subprocess.Popen(
            _command("tests.mutants.trial"),
            cwd=path,
            env=self._environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __enter__(self) -> "Tree":
        return self

    def __exit__(self, *_: object) -> None:
        self._server.communicate()

    def run(self, module: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a module of this copy."""
        command = _command(module, *arguments)
        return subprocess.run(
            command, cwd=self.path, env=self._environment, capture_output=True, text=True, check=False
        )

    def _write(self, file: Path, source: bytes) -> None:
        """Each source has its own second, or Python would take its bytecode for that of another one of its size."""
        file.write_bytes(source)
        self._written += 1
        os.utime(file, (self._written, self._written))

    def catches(self, mutant: Mutant, parts: Iterable[Mapping[str, float]]) -> str | None:
        """Which test catches a mutant; None if none does. `parts`: the tests (with the seconds that each may take) of
        one run after the other."""
        file = self.path / mutant.file
        source = file.read_bytes()
        self._write(file, mutant.applied(source))
        try:
            return next((found for tests in parts if (found := self._failing(tests)) is not None), None)
        finally:
            self._write(file, source)

    def _failing(self, tests: Mapping[str, float]) -> str | None:
        """The first of these tests that fails."""
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        self._chosen.write_text(json.dumps(tests))
        self._server.stdin.write(f"{self._chosen}\n")
        self._server.stdin.flush()
        code = int(self._server.stdout.readline())
        if code == pytest.ExitCode.OK:
            return None
        output = _output_of(self._chosen).read_text(errors="replace")
        if code in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
            raise RuntimeError(f"a trial did not come about:\n{output[-4000:]}")
        return _first_failure(output) or f"the tests ended with status {code}"


def _command(module: str, *arguments: str) -> list[str]:
    """At a low priority."""
    return ["nice", "-n", "1", sys.executable, "-m", module, *arguments]


def _output_of(chosen: Path) -> Path:
    return chosen.with_suffix(".out")


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


def serve() -> None:
    """Run what each line names, until there are no more."""
    for line in sys.stdin:
        chosen = Path(line.rstrip("\n"))
        child = os.fork()
        if child == 0:
            os._exit(_run(chosen))
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


def _run(chosen: Path) -> int:
    """Run the chosen tests, with their output in a file; answers with pytest's exit code."""
    with _output_of(chosen).open("wb") as output, open(os.devnull, "rb") as nothing:
        for there, here in ((nothing, 0), (output, 1), (output, 2)):
            os.dup2(there.fileno(), here)
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    register_profile()
    limits: dict[str, float] = json.loads(chosen.read_text())
    modules = dict.fromkeys(name.partition("::")[0] for name in limits)
    code = pytest.main([*OPTIONS, "-x", "-rfE", "--tb=no", *modules], plugins=[ChosenTests(limits)])
    sys.stdout.flush()
    return int(code)


if __name__ == "__main__":
    for library in _LIBRARIES:
        import_module(library)
    serve()
