"""A copy of the sources with the way of a message compiled beside them: `python -m tests.support.compiled_tree FOLDER`.

What was compiled comes out of a wheel, made as users make it, which stays in the copy's folder `dist`. Tests that are
run in the copy test the compiled build.
"""

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Final

from engine.build_backend import lacking, modules
from tests.support.paths import ROOT

_LEFT_OUT: Final = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "*.so", "build", "dist")
_PACKAGES: Final = ("engine", "filters", "presets")


def make(folder: Path) -> None:
    """Make it in a folder that does not exist yet. Raises RuntimeError if it cannot be compiled."""
    shutil.copytree(ROOT, folder, ignore=_LEFT_OUT)
    pip = (sys.executable, "-m", "pip", "wheel", "--quiet", "--no-build-isolation", "--no-deps", "-w", "dist", ".")
    build = {"BAYLEAF_BUILD": "compiled", "PYTHONPATH": str(folder)}
    if subprocess.run(pip, cwd=folder, env=os.environ | build, check=False).returncode:
        raise RuntimeError(f"{folder} could not be compiled")
    shutil.rmtree(folder / "build")
    with zipfile.ZipFile(_wheel_in(folder)) as wheel:
        wheel.extractall(folder, [name for name in wheel.namelist() if name.endswith(".so")])
    if left := [each for each in modules() if not any((folder / each).parent.glob(f"{Path(each).stem}.*.so"))]:
        raise RuntimeError(f"not compiled: {', '.join(left)}")


def wheel(folder: Path) -> Path:
    """The compiled wheel of the sources that are being tested: the one of this copy, or a new one, made in `folder`."""
    for made in ROOT.glob("dist/bayleaf-*.whl"):
        if _is_of_these(made):
            return made
    make(folder / "source")
    return _wheel_in(folder / "source")


def _wheel_in(folder: Path) -> Path:
    (made,) = folder.glob("dist/bayleaf-*.whl")
    return made


def _is_of_these(made: Path) -> bool:
    """Whether it is compiled, and each file of its source is as it is here."""
    with zipfile.ZipFile(made) as packed:
        names = packed.namelist()
        sources = [name for name in names if name.endswith(".py") and name.split("/")[0] in _PACKAGES]
        same = all((ROOT / name).is_file() and packed.read(name) == (ROOT / name).read_bytes() for name in sources)
        return same and any("__mypyc" in name for name in names)


def main() -> None:
    """Make it. Without a compiler it stays interpreted, or fails where nothing may be skipped."""
    folder = Path(sys.argv[1]).absolute()
    if (lacks := lacking()) is None:
        make(folder)
    elif os.environ.get("BAYLEAF_NO_SKIP") == "1":
        sys.exit(f"Nothing can be compiled: {lacks}")
    else:
        shutil.copytree(ROOT, folder, ignore=_LEFT_OUT)
        print(f"The copy is interpreted, too: {lacks}")


if __name__ == "__main__":
    main()
