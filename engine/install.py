"""Sets Bayleaf up beside its sources: `python3 -m engine.install`, or with `--tests`.

Makes `.venv`, installs Bayleaf into it and runs the demo (or the tests). With a C compiler the way of a message is
compiled, unless `--pure` is given. Uses only the standard library, and reports missing packages before a compiler fails
without them. Nothing outside the folder is changed.
"""

import argparse
import contextlib
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

_ROOT: Final = Path(__file__).resolve().parent.parent
_VENV: Final = _ROOT / ".venv"
_BIN: Final = _VENV / ("Scripts" if sys.platform == "win32" else "bin")

#: pip keeps what it fetched, and when it looked for a newer pip, in the user's home
_PIP: Final = {"PIP_NO_CACHE_DIR": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
#: A copy of the sources, compiled: what is run in it are tests of the compiled build (`tests.support.compiled_tree`).
_COMPILED: Final = _VENV / "compiled"
#: Tests that start processes wait for half of their time: on two processors four at once take half as long as two.
_AT_ONCE: Final = str(max(4, os.cpu_count() or 1))
#: What only calculates, with no deadline but pytest's, is run in both builds. It takes what time other tests leave of
#: the processors, and never any that those want.
_COMPUTING: Final = tuple(f"tests/{each}" for each in ("core", "filters", "instruments", "midi", "offline", "rig"))
_OF_A_WHEEL: Final = "tests/test_compiled_build.py"
_IN_THE_GAPS: Final = ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "--timeout=900")
_INTERPRETED_GAPS: Final = (*_IN_THE_GAPS, *_COMPUTING)
_COMPILED_GAPS: Final = (*_IN_THE_GAPS, _OF_A_WHEEL, *_COMPUTING)
#: All else that needs no server is run interpreted; what of it is fast, and can tell a difference, is compiled, too.
#: Its processes have deadlines, so it gets its share of the processors.
_TESTS: Final = (
    *("-n", _AT_ONCE, "--dist", "worksteal", "--ignore=tests/real"),
    *(f"--ignore={each}" for each in (_OF_A_WHEEL, *_COMPUTING)),
)
_COMPILED_FAST: Final = (
    *(*_IN_THE_GAPS, "-m", "fast"),
    *(f"tests/{each}" for each in ("attack", "cli", "cluster", "live", "panel", "ports", "presets", "protocol")),
)
#: Tests with servers and those on several machines are run one group after the other, since they would miss their
#: deadlines on a busier computer; beside the last, which mostly wait, the guest. All of them are run compiled, as users
#: have it who have a compiler, and the whole way from keys to a synthesizer interpreted, too.
_ON_MACHINES: Final = ("-n", "2", "--dist", "loadfile", "tests/real/machines")
_GUEST: Final = ("tests/real/test_alsa_guest.py",)
_ON_SERVERS: Final = (
    *("-n", "2", "--dist", "loadfile", "tests/real"),
    *(f"--ignore={each}" for each in (_ON_MACHINES[-1], *_GUEST)),
)
_INTERPRETED_ON_SERVERS: Final = (
    *("-n", "2", "--dist", "loadfile"),
    *("tests/real/test_main_job.py", "tests/real/test_jack_ports.py"),
)
_INCLUDE: Final = Path("/usr/include")
_PYTHON_INCLUDE: Final = Path(sysconfig.get_path("include"))
_REPORT: Final = 10  # seconds between signs of life
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


def _run(*command: str | Path, where: Path = _ROOT) -> None:
    done = subprocess.run([str(part) for part in command], cwd=where, env=os.environ | _PIP, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def _install(what: tuple[str, ...], build: str) -> None:
    """Have pip install it, and report every ten seconds that the work goes on: a compiler takes minutes.

    `build`: see `build_backend`, "" for what is possible.
    """
    command = [str(_BIN / "python"), "-m", "pip", "install", "--quiet", *what]
    begun = time.monotonic()
    pip = subprocess.Popen(command, cwd=_ROOT, env=os.environ | _PIP | {"BAYLEAF_BUILD": build})
    while True:
        try:
            status = pip.wait(_REPORT)
        except subprocess.TimeoutExpired:
            print(f"  … {time.monotonic() - begun:.0f} s", flush=True)
        else:
            break
    if status:
        sys.exit(status)


def what_was_compiled() -> str:
    """One line on what pip has compiled where it could; what is missing never stops it."""
    way = _finds("import sys, engine.which_build as build; sys.exit(not build.is_compiled())")
    jack = _finds("import engine.ports.jack_client.native")
    client = "JACK's ports go through one client" if jack else "JACK's ports go through python-rtmidi"
    if way:
        return f"Compiled: the way of a message. {client}."
    return f"Not compiled, so everything is interpreted, which works the same and is slower. {client}."


def _finds(code: str) -> bool:
    """Whether this runs in the new environment, outside the sources."""
    probe = [str(_BIN / "python"), "-I", "-c", code]
    return subprocess.run(probe, cwd=_VENV, capture_output=True, check=False).returncode == 0


def _in_the_gaps() -> None:
    """Give this process only the time that no other one wants (sched(7)); what it starts inherits that."""
    if hasattr(os, "SCHED_IDLE"):
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))


def _behind_others() -> None:
    """Give this process a tenth of the time that another one gets."""
    os.nice(10)


@contextlib.contextmanager
def _beside(*command: str | Path, gives_way: Callable[[], None] | None = None, where: Path = _ROOT) -> Iterator[None]:
    """Run a command beside the block, and print its output at the end. If it failed, that is the status.

    `gives_way`: called in its process first, so that the block gets the processors.
    """
    with tempfile.TemporaryFile("w+") as output:
        beside = subprocess.Popen(
            [str(part) for part in command],
            cwd=where,
            stdout=output,
            stderr=subprocess.STDOUT,
            preexec_fn=gives_way,
        )
        try:
            yield
        finally:
            beside.wait()
            output.seek(0)
            print(output.read(), flush=True)
    if beside.returncode:
        sys.exit(beside.returncode)


def _run_tests() -> None:
    python = _BIN / "python"
    pytest = (python, "-m", "pytest")
    shutil.rmtree(_COMPILED, ignore_errors=True)
    with _beside(*pytest, *_INTERPRETED_GAPS, gives_way=_in_the_gaps):
        with _beside(python, "-m", "tests.support.compiled_tree", _COMPILED, gives_way=_behind_others):
            _run(*pytest, *_TESTS)
            _run(*pytest, *_INTERPRETED_ON_SERVERS)
        with (
            _beside(*pytest, *_COMPILED_GAPS, gives_way=_in_the_gaps, where=_COMPILED),
            _beside(*pytest, *_COMPILED_FAST, gives_way=_behind_others, where=_COMPILED),
        ):
            _run(*pytest, *_ON_SERVERS, where=_COMPILED)
            with _beside(*pytest, *_GUEST, where=_COMPILED):
                _run(*pytest, *_ON_MACHINES, where=_COMPILED)


def main() -> None:
    """Set up, then run the demo or the tests."""
    parser = argparse.ArgumentParser(prog="python3 -m engine.install", description=__doc__.splitlines()[0])
    parser.add_argument("--tests", action="store_true", help="also install what the tests need, and run them")
    parser.add_argument("--pure", action="store_true", help="compile nothing ahead of time, even with a C compiler")
    asked = parser.parse_args()
    if sys.version_info < (3, 11):
        sys.exit(f"Bayleaf needs Python 3.11 or later; this is {sys.version.split()[0]}.")
    if needed := missing():
        sys.exit(
            f"Some packages are missing on this system. Install them first:\n  sudo apt-get install {' '.join(needed)}"
        )
    if not _VENV.exists():
        _run(sys.executable, "-m", "venv", _VENV)
    print("Installing into .venv; with a C compiler this takes a few minutes …", flush=True)
    _install(("-e", ".[dev]") if asked.tests else (".",), "pure" if asked.pure else "")
    print(what_was_compiled(), flush=True)
    if asked.tests:
        _run_tests()
    else:
        _run(_BIN / "bayleaf", "demo")
        print("\nNext: .venv/bin/bayleaf new")


if __name__ == "__main__":
    main()
