"""Sets Bayleaf up beside its sources: `python3 -m engine.install`, or with `--tests`.

Makes `.venv`, installs Bayleaf into it and runs the demo (or the tests). Only the standard library is used here, and
what is missing is told before a compiler would tell it. Nothing outside the folder is changed.
"""

import argparse
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Final

_ROOT: Final = Path(__file__).resolve().parent.parent
_VENV: Final = _ROOT / ".venv"
_BIN: Final = _VENV / ("Scripts" if sys.platform == "win32" else "bin")

#: first what can be cut up at will; then, for their times are real, those that need real servers, and beside them those
#: that need several machines: both mostly wait
_TESTS: Final = ("-n", "auto", "--dist", "worksteal", "--ignore=tests/real")
_REAL_TESTS: Final = (("tests/real", "--ignore=tests/real/machines"), ("tests/real/machines",))
#: python-rtmidi 1.5.8 comes ready-made for these; for later ones pip builds it from source
_READY_MADE: Final = ((3, 11), (3, 12))


def missing() -> list[str]:
    """Debian packages that are needed here and not found."""
    needed = []
    if not _has_venv():
        needed.append("python3-venv")
    if sys.version_info[:2] in _READY_MADE or sys.platform != "linux":
        return needed
    if shutil.which("g++") is None:
        needed.append("g++")
    include = Path(sysconfig.get_path("include"))
    if not (include / "Python.h").exists():
        needed.append("python3-dev")
    if not Path("/usr/include/alsa/asoundlib.h").exists():
        needed.append("libasound2-dev")
    if not Path("/usr/include/jack/jack.h").exists():
        needed.append("libjack-jackd2-dev")
    return needed


def _has_venv() -> bool:
    try:
        import ensurepip  # noqa: F401  (Debian ships venv without it until python3-venv is installed)
    except ImportError:
        return False
    return True


def _run(*command: str | Path) -> None:
    done = subprocess.run([str(part) for part in command], cwd=_ROOT, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def _run_together(*commands: tuple[str | Path, ...]) -> None:
    """What all but the first have to say comes at the end."""
    others = [
        subprocess.Popen(
            [str(part) for part in command], cwd=_ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        for command in commands[1:]
    ]
    first = subprocess.run([str(part) for part in commands[0]], cwd=_ROOT, check=False)
    for other in others:
        print(other.communicate()[0], flush=True)
    if status := max(first.returncode, *(other.returncode for other in others)):
        sys.exit(status)


def main() -> None:
    """Set up, then run the demo or the tests."""
    parser = argparse.ArgumentParser(prog="python3 -m engine.install", description=__doc__.splitlines()[0])
    parser.add_argument("--tests", action="store_true", help="install what the tests need, too, and run them")
    wants_tests = parser.parse_args().tests
    if sys.version_info < (3, 11):
        sys.exit(f"Bayleaf needs Python 3.11 or later; this is {sys.version.split()[0]}.")
    if needed := missing():
        sys.exit(f"Something is missing on this system. Install it first:\n  sudo apt-get install {' '.join(needed)}")
    if not _VENV.exists():
        _run(sys.executable, "-m", "venv", _VENV)
    print("Installing into .venv …", flush=True)
    _run(
        _BIN / "python",
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "-e",
        ".[dev]" if wants_tests else ".",
    )
    if wants_tests:
        pytest = (_BIN / "python", "-m", "pytest")
        _run(*pytest, *_TESTS)
        _run_together(*((*pytest, *tests) for tests in _REAL_TESTS))
    else:
        _run(_BIN / "bayleaf", "demo")
        print("\nTo go on: .venv/bin/bayleaf new")


if __name__ == "__main__":
    main()
