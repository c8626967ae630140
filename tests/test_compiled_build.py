"""The compiled build, made and installed as users do it: it runs without a compiler, and plays the same."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from engine.build_backend import lacking
from tests.support.needed import need
from tests.support.paths import ROOT

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1500)]

#: what the tests of core and filters are run from
BESIDE = ("tests", "bench", "pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md")
LEFT_OUT = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "*.so", "build")


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
    source, fresh = folder / "source", folder / "fresh"
    shutil.copytree(ROOT, source, ignore=LEFT_OUT)
    pip = (sys.executable, "-m", "pip", "wheel", "--no-build-isolation", "--no-deps")
    _run(*pip, "-w", folder, source, cwd=folder, BAYLEAF_BUILD="compiled")
    _run(sys.executable, "-m", "venv", fresh, cwd=folder)
    (wheel,) = folder.glob("bayleaf-*.whl")
    _run(fresh / "bin" / "pip", "install", "--no-deps", wheel, cwd=folder, PATH=str(fresh / "bin"))
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


@pytest.mark.parametrize("tests", ["tests/core", "tests/filters tests/midi", "tests/live tests/offline -m fast"])
def test_what_is_compiled_behaves_the_same(installed: Path, tmp_path: Path, tests: str) -> None:
    """What is compiled passes its own tests, among them those of plug-in filters in plain Python."""
    (packages,) = (installed / "lib").glob("python3*/site-packages")
    for name in ("engine", "filters", "presets"):
        shutil.copytree(packages / name, tmp_path / name)
    for part in packages.glob("*__mypyc*.so"):
        shutil.copy(part, tmp_path)
    for name in BESIDE:
        whole = ROOT / name
        if whole.is_dir():
            shutil.copytree(whole, tmp_path / name, ignore=LEFT_OUT)
        else:
            shutil.copy(whole, tmp_path)
    pytest_here = (sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-n", "2")
    _run(*pytest_here, *tests.split(), cwd=tmp_path, PYTHONPATH=str(tmp_path))
