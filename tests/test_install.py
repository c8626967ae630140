"""The installer: what it says is missing, what it leaves alone, and which tests it runs. (Our own promises: README.)"""

import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from engine import install
from tests.support.paths import ROOT

ALL = ["g++", "python3-dev", "libasound2-dev", "libjack-jackd2-dev"]
HEADERS = ["Python.h", "alsa/asoundlib.h", "jack/jack.h"]


@pytest.fixture
def bare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A Linux on which a library must be compiled, and that has nothing to compile it with; the folder of headers."""
    include = tmp_path / "include"
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(install, "_READY_MADE", ())
    monkeypatch.setattr(install, "_INCLUDE", include)
    monkeypatch.setattr(install, "_PYTHON_INCLUDE", include)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    return include


def _there(file: Path) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.touch(mode=0o755)


@pytest.mark.parametrize("header", HEADERS)
def test_each_missing_package_is_named(bare: Path, header: str) -> None:
    """Without anything, all four packages are named; with a compiler and one header, the other two."""
    assert install.missing() == ALL
    _there(bare.parent / "bin" / "g++")
    _there(bare / header)
    assert install.missing() == [name for name in ALL[1:] if name != ALL[1 + HEADERS.index(header)]]


def test_without_venv_its_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Debian's Python lacks ensurepip until python3-venv is installed; the other packages are not needed for 3.11."""
    monkeypatch.setitem(sys.modules, "ensurepip", None)
    monkeypatch.setattr(install, "_READY_MADE", (sys.version_info[:2],))
    assert install.missing() == ["python3-venv"]


def test_what_is_missing_is_said_before_anything_is_built(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The installer ends with the command that installs the packages, and has started nothing."""
    monkeypatch.setattr("engine.install.subprocess.run", lambda *_, **__: pytest.fail("nothing is built yet"))
    monkeypatch.setattr(sys, "argv", ["install"])
    with pytest.raises(SystemExit, match=r"sudo apt-get install g\+\+ python3-dev libasound2-dev libjack-jackd2-dev"):
        install.main()


def test_an_old_python_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python 3.10 is too old; the sentence says which version is needed."""
    monkeypatch.setattr(sys, "version_info", (3, 10, 9))
    monkeypatch.setattr(sys, "argv", ["install"])
    with pytest.raises(SystemExit, match=r"needs Python 3\.11 or later"):
        install.main()


INTERPRETED = (install._TESTS, install._INTERPRETED_GAPS, install._INTERPRETED_ON_SERVERS)
COMPILED = (
    *(install._COMPILED_GAPS, install._COMPILED_FAST, install._ON_SERVERS),
    *(install._ON_MACHINES, install._GUEST),
)
FILES = Counter((ROOT / "tests").rglob("test_*.py"))


def _files(groups: tuple[tuple[str, ...], ...]) -> Counter[Path]:
    """How often each file of tests is in these groups."""
    times: Counter[Path] = Counter()
    for group in groups:
        inside = [ROOT / word for word in group if word.startswith("tests/")] or [ROOT / "tests"]
        outside = [ROOT / word.partition("=")[2] for word in group if word.startswith("--ignore=")]
        for folder in inside:
            files = [folder] if folder.is_file() else folder.rglob("test_*.py")
            times.update(file for file in files if not any(file.is_relative_to(each) for each in outside))
    return times


def test_every_test_is_run_once_in_a_build() -> None:
    """The groups of `--tests` together have every file of tests, and none of them twice in one build.

    What needs no server is interpreted, and what needs one is compiled; only what is about the project itself is not
    compiled, too.
    """
    interpreted, compiled = _files(INTERPRETED), _files(COMPILED)
    assert interpreted | compiled == FILES
    servers = {file for file in FILES if file.is_relative_to(ROOT / "tests" / "real")}
    wheel = ROOT / install._OF_A_WHEEL
    assert set(compiled) >= servers | {wheel}
    assert set(interpreted) >= set(FILES) - servers - {wheel}
    apart = {"tests", "tests/bench", "tests/mutants"}
    assert {str(file.parent.relative_to(ROOT)) for file in FILES - compiled} == apart


@pytest.mark.parametrize(
    "fails",
    [
        *(None, "worksteal", "tests.support.compiled_tree", "tests/core", "fast", install._OF_A_WHEEL),
        *("tests/real", "tests/real/test_main_job.py", "tests/real/machines", *install._GUEST),
    ],
)
def test_tests_are_what_decides_the_status(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, fails: str | None) -> None:
    """With `--tests` what the tests need is installed, then each group runs in its build; what fails is the status."""
    begun: list[list[str]] = []
    places: list[tuple[tuple[str, ...], Path]] = []

    class Process:
        """A command that was begun; one of its words makes it fail."""

        def __init__(self, command: list[str], cwd: Path, **_: object) -> None:
            begun.append(command)
            if "pytest" in command:
                places.append((tuple(command[3:]), cwd))
            self.returncode = 3 if fails in command else 0

        def wait(self, timeout: float | None = None) -> int:
            return self.returncode

    monkeypatch.setattr(install, "_COMPILED", tmp_path / "compiled")
    monkeypatch.setattr(install, "missing", list)
    monkeypatch.setattr("engine.install.subprocess.run", Process)
    monkeypatch.setattr("engine.install.subprocess.Popen", Process)
    monkeypatch.setattr(sys, "argv", ["install", "--tests"])
    if fails is None:
        install.main()
        assert [command[-1] for command in begun if "pip" in command] == [".[dev]"]
        assert sorted(places) == sorted(
            [(group, ROOT) for group in INTERPRETED] + [(group, tmp_path / "compiled") for group in COMPILED]
        )
    else:
        with pytest.raises(SystemExit) as ended:
            install.main()
        assert ended.value.code == 3


@pytest.mark.parametrize(
    ("gives_way", "says"), [(install._in_the_gaps, "idle 0"), (install._behind_others, "not 10"), (None, "not 0")]
)
def test_what_runs_beside_gives_way(
    capfd: pytest.CaptureFixture[str], gives_way: Callable[[], None] | None, says: str
) -> None:
    """Its output follows what ran at once, and its failure is the status (SCHED_IDLE: sched(7))."""
    own = os.nice(0)
    say = "print('idle' if os.sched_getscheduler(0) == os.SCHED_IDLE else 'not', os.nice(0) - int(sys.argv[1]))"
    command = (sys.executable, "-c", f"import os, sys; {say}; sys.exit(5)", str(own))
    with pytest.raises(SystemExit) as ended, install._beside(*command, gives_way=gives_way):
        install._run(sys.executable, "-c", "print('first')")
    assert (capfd.readouterr().out.splitlines(), ended.value.code) == (["first", says, ""], 5)


@pytest.mark.parametrize("way", [True, False])
@pytest.mark.parametrize("jack", [True, False])
def test_one_line_says_what_was_compiled(monkeypatch: pytest.MonkeyPatch, way: bool, jack: bool) -> None:
    """Whether the way of a message and the client for JACK are there, and what takes their place."""

    def probe(command: list[str], **_: object) -> subprocess.CompletedProcess[bytes]:
        found = jack if "jack_client" in command[-1] else way
        return subprocess.CompletedProcess(command, 0 if found else 1)

    monkeypatch.setattr("engine.install.subprocess.run", probe)
    first = "Compiled: the way of a message" if way else "Not compiled, so everything is interpreted, .*"
    then = "through one client" if jack else "through python-rtmidi"
    assert re.fullmatch(rf"{first}\. JACK's ports go {then}\.", install.what_was_compiled())


@pytest.mark.parametrize(("options", "build"), [([], ""), (["--pure"], "pure")])
def test_a_long_installation_is_shown_and_may_be_pure(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], options: list[str], build: str
) -> None:
    """While pip works there is a line now and then; `--pure` reaches the build, and a failure is the status."""
    builds: list[str] = []

    class Pip:
        """It takes one report longer, and fails."""

        def __init__(self, command: list[str], env: dict[str, str], **_: object) -> None:
            builds.append(env["BAYLEAF_BUILD"])
            self.reported = False

        def wait(self, timeout: float) -> int:
            if not self.reported:
                self.reported = True
                raise subprocess.TimeoutExpired("pip", timeout)
            return 4

    monkeypatch.setattr(install, "missing", list)
    monkeypatch.setattr("engine.install.subprocess.run", lambda *_, **__: subprocess.CompletedProcess([], 0))
    monkeypatch.setattr("engine.install.subprocess.Popen", Pip)
    monkeypatch.setattr(sys, "argv", ["install", *options])
    with pytest.raises(SystemExit) as ended:
        install.main()
    assert ended.value.code == 4
    assert builds == [build]
    assert re.search(r"^  … \d+ s$", capsys.readouterr().out, re.MULTILINE)


def _seen(folder: Path) -> set[str]:
    return {str(file.relative_to(folder)) for file in folder.rglob("*")}


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_it_installs_plays_the_demo_and_changes_nothing_outside(tmp_path: Path) -> None:
    """A copy of the sources, a new home and an empty folder for temporary files: afterwards `.venv` has a command that
    works, the demo was played, and nothing lies outside the copy. The libraries come from the environment of these
    tests; pip fetches what builds Bayleaf itself, so that its cache would be noticed."""
    copy, home, temporary = tmp_path / "bayleaf", tmp_path / "home", tmp_path / "tmp"
    left_out = shutil.ignore_patterns(".*", "tests", "bench", "__pycache__", "*.egg-info")
    shutil.copytree(ROOT, copy, ignore=left_out)
    home.mkdir()
    temporary.mkdir()
    environment = {
        "PATH": os.defpath,
        "HOME": str(home),
        "TMPDIR": str(temporary),
        "PYTHONPATH": next(path for path in sys.path if path.endswith("site-packages")),
    }
    done = subprocess.run(
        [sys.executable, "-m", "engine.install", "--pure"],
        cwd=copy,
        env=environment,
        capture_output=True,
        text=True,
        timeout=540,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Lantern Street pit band: 13 seconds on ports in memory; nothing is audible." in done.stdout
    command = [str(copy / ".venv" / "bin" / "bayleaf"), "--version"]
    said = subprocess.run(command, cwd=home, env=environment, timeout=60, capture_output=True, text=True, check=True)
    assert said.stdout.endswith("(interpreted)\n")
    assert (_seen(home), _seen(temporary)) == (set(), set())
    assert {each.name for each in tmp_path.iterdir()} == {"bayleaf", "home", "tmp"}
