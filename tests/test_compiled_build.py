"""The compiled build, made and installed as users do it: it runs without a compiler.

That it passes all tests is shown by running them in a compiled copy (`tests.support.compiled_tree`).
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

import engine
from engine.build_backend import lacking
from engine.which_build import is_compiled
from tests.support.compiled_tree import wheel
from tests.support.needed import need
from tests.support.paths import BAYLEAF, ROOT

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1500)]


def _run(*command: str | Path, cwd: Path, **environment: str) -> str:
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env={"PATH": os.defpath, "HOME": str(cwd)} | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-4000:]
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel in it; libraries come from the environment of these tests."""
    if lacks := lacking():
        need(f"what to compile with: {lacks}")
    folder = tmp_path_factory.mktemp("compiled")
    fresh = folder / "fresh"
    _run(sys.executable, "-m", "venv", "--without-pip", fresh, cwd=folder)
    pip = (sys.executable, "-m", "pip", "--python", fresh / "bin" / "python", "install", "--no-deps")
    _run(*pip, wheel(folder), cwd=folder, PATH=str(fresh / "bin"))
    return fresh


def _libraries() -> str:
    return next(path for path in sys.path if path.endswith("site-packages"))


def test_it_runs_without_a_compiler(installed: Path) -> None:
    """The version says that it is compiled, and the demo plays."""
    bayleaf, nothing = installed / "bin" / "bayleaf", str(installed / "bin")
    said = _run(bayleaf, "--version", cwd=installed, PATH=nothing, PYTHONPATH=_libraries())
    assert said.endswith("(compiled)\n")
    assert "13 seconds on ports in memory" in _run(
        bayleaf, "demo", cwd=installed, PATH=nothing, PYTHONPATH=_libraries()
    )


def test_what_is_tested_is_what_lies_beside_the_tests() -> None:
    """Here, and in the processes that tests start, the sources of this copy are imported, and compiled if it is."""
    compiled = any(ROOT.glob("*__mypyc*.so"))
    assert Path(engine.__file__ or "").is_relative_to(ROOT)
    assert is_compiled() == compiled
    said = _run(BAYLEAF, "--version", cwd=ROOT, PYTHONPATH=os.environ["PYTHONPATH"])
    assert said.endswith("(compiled)\n" if compiled else "(interpreted)\n")
