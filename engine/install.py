"""Sets Bayleaf up beside its sources: `python3 -m engine.install`, or with `--tests`.

Makes `.venv`, installs Bayleaf into it and runs the demo (or the tests). Uses only the standard library, and reports
missing packages before a compiler fails without them. Nothing outside the folder is changed.
"""

import argparse
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Final

_ROOT: Final = Path(__file__).resolve().parent.parent
_VENV: Final = _ROOT / ".venv"
_BIN: Final = _VENV / ("Scripts" if sys.platform == "win32" else "bin")

#: pip keeps what it fetched, and when it looked for a newer pip, in the user's home
_PIP: Final = {"PIP_NO_CACHE_DIR": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
#: Tests wait for more than half of their time: on two processors four at once take half as long as two.
_AT_ONCE: Final = str(max(4, os.cpu_count() or 1))
#: Groups of tests: those that need no server; those with servers, alone, since they would miss their deadlines on a
#: busier computer; at last those on several machines, which mostly wait, and beside them the guest.
_TESTS: Final = ("-n", _AT_ONCE, "--dist", "worksteal", "--ignore=tests/real")
_ON_MACHINES: Final = ("tests/real/machines",)
_GUEST: Final = ("tests/real/test_alsa_guest.py",)
_ON_SERVERS: Final = (
    *("-n", "2", "--dist", "loadfile", "tests/real"),
    *("--ignore=tests/real/machines", f"--ignore={_GUEST[0]}"),
)
_INCLUDE: Final = Path("/usr/include")
_PYTHON_INCLUDE: Final = Path(sysconfig.get_path("include"))
#: Python versions with a wheel of python-rtmidi 1.5.8; for later ones pip builds it from source
_READY_MADE: Final = ((3, 11), (3, 12))


def missing() -> list[str]:
    """The Debian packages that are required here and missing."""
    needed = []
    if not _has_venv():
        needed.append("python3-venv")
    if sys.version_info[:2] in _READY_MADE or sys.platform != "linux":
        return needed
    if shutil.which("g++") is None:
        needed.append("g++")
    if not (_PYTHON_INCLUDE / "Python.h").exists():
        needed.append("python3-dev")
    if not (_INCLUDE / "alsa" / "asoundlib.h").exists():
        needed.append("libasound2-dev")
    if not (_INCLUDE / "jack" / "jack.h").exists():
        needed.append("libjack-jackd2-dev")
    return needed


def _has_venv() -> bool:
    try:
        import ensurepip  # noqa: F401  (Debian ships venv without it until python3-venv is installed)
    except ImportError:
        return False
    return True


def _run(*command: str | Path) -> None:
    done = subprocess.run([str(part) for part in command], cwd=_ROOT, env=os.environ | _PIP, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def what_was_compiled() -> str:
    """One line on the parts in C, which pip compiles where it can; what is missing never stops it."""
    probe = (str(_BIN / "python"), "-c", "import engine.ports.jack_client.native")
    if subprocess.run(probe, cwd=_ROOT, capture_output=True, check=False).returncode == 0:
        return "Compiled: JACK's ports go through one client."
    return "Not compiled (no C compiler, or no Python headers): JACK's ports go through python-rtmidi."


def _run_together(first: tuple[str | Path, ...], other: tuple[str | Path, ...]) -> None:
    """Run both commands at once; the output of the other one follows at the end."""
    beside = subprocess.Popen(
        [str(part) for part in other], cwd=_ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    done = subprocess.run([str(part) for part in first], cwd=_ROOT, check=False)
    print(beside.communicate()[0], flush=True)
    if status := done.returncode or beside.returncode:
        sys.exit(status)


def main() -> None:
    """Set up, then run the demo or the tests."""
    parser = argparse.ArgumentParser(prog="python3 -m engine.install", description=__doc__.splitlines()[0])
    parser.add_argument("--tests", action="store_true", help="also install what the tests need, and run them")
    wants_tests = parser.parse_args().tests
    if sys.version_info < (3, 11):
        sys.exit(f"Bayleaf needs Python 3.11 or later; this is {sys.version.split()[0]}.")
    if needed := missing():
        sys.exit(
            f"Some packages are missing on this system. Install them first:\n  sudo apt-get install {' '.join(needed)}"
        )
    if not _VENV.exists():
        _run(sys.executable, "-m", "venv", _VENV)
    print("Installing into .venv …", flush=True)
    _run(_BIN / "python", "-m", "pip", "install", "--quiet", "-e", ".[dev]" if wants_tests else ".")
    print(what_was_compiled(), flush=True)
    if wants_tests:
        pytest = (_BIN / "python", "-m", "pytest")
        _run(*pytest, *_TESTS)
        _run(*pytest, *_ON_SERVERS)
        _run_together((*pytest, *_ON_MACHINES), (*pytest, *_GUEST))
    else:
        _run(_BIN / "bayleaf", "demo")
        print("\nNext: .venv/bin/bayleaf new")


if __name__ == "__main__":
    main()
