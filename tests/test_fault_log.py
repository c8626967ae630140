"""The log of Bayleaf's own faults. (Our own design; no outside source.)"""

import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from engine import fault_log
from engine.fault_log import FaultLog, log_file
from tests.support.waiting import until


def _raised(text: str = "a mistake") -> Exception:
    try:
        raise RuntimeError(text)
    except RuntimeError as fault:
        return fault


def test_a_fault_is_kept_with_its_traceback_and_what_was_done(tmp_path: Path) -> None:
    """The file has the time, what was being done, and the traceback; the sentence names the file."""
    log, file = FaultLog(), tmp_path / "state" / "pit.log"
    with log.kept_in(file):
        said = log.record("routing 90 3C 40 from keys", _raised())
    assert said == f"a fault of Bayleaf itself: RuntimeError('a mistake'); details in {file}"
    written = file.read_text()
    assert re.match(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3} while routing 90 3C 40 from keys: RuntimeError", written)
    assert "in _raised\n    raise RuntimeError(text)\nRuntimeError: a mistake\n" in written


def test_the_same_fault_is_counted_rather_than_written_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A thousand faults of one line give one traceback within a minute, one more after it, and a count at the end."""
    log, file, now = FaultLog(), tmp_path / "pit.log", [0.0]
    monkeypatch.setattr("engine.fault_log.time.monotonic", lambda: now[0])
    with log.kept_in(file):
        for _ in range(1000):
            log.record("routing", _raised())
        now[0] = 61.0
        log.record("routing", _raised())
        log.record("routing", _raised())
        assert log.status() == {"file": str(file), "faults": 1002, "error": None}
    written = file.read_text()
    assert written.count("Traceback") == 2
    assert "(999 times more since it was last written)" in written
    assert written.endswith("while ending: RuntimeError came once more\n")


def test_another_line_is_another_fault(tmp_path: Path) -> None:
    """Two lines that raise the same kind of exception are both written."""
    log, file = FaultLog(), tmp_path / "pit.log"
    with log.kept_in(file):
        log.record("one thing", _raised())
        try:
            raise RuntimeError("elsewhere")
        except RuntimeError as fault:
            log.record("another", fault)
    assert file.read_text().count("Traceback") == 2


def test_the_disk_is_never_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a file that cannot be opened yet (a FIFO without a reader) `record` returns, and so does the end."""
    monkeypatch.setattr(fault_log, "_END_WITHIN", 0.05)
    log, file, done = FaultLog(), tmp_path / "pit.log", threading.Event()
    os.mkfifo(file)

    def run() -> None:
        with log.kept_in(file):
            log.record("routing", _raised())
        done.set()

    threading.Thread(target=run, daemon=True).start()
    assert done.wait(30)
    with file.open() as reader:  # let the log's thread continue and end
        assert "while routing" in reader.read()


def test_the_files_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full file becomes the old file, of which there is only one; neither exceeds the size limit."""
    monkeypatch.setattr(fault_log, "_LARGEST", 2000)
    monkeypatch.setattr(fault_log, "_AGAIN", 0.0)
    log, file = FaultLog(), tmp_path / "pit.log"
    with log.kept_in(file):
        for number in range(50):
            log.record(f"routing {number}", _raised())
    assert sorted(os.listdir(tmp_path)) == ["pit.log", "pit.log.1"]
    assert all(each.stat().st_size <= 2000 for each in tmp_path.iterdir())
    assert "routing 49" in file.read_text()


def test_a_file_that_cannot_be_written_is_reported(tmp_path: Path) -> None:
    """The status says why; nothing is printed over the player's terminal, and counting continues."""
    (tmp_path / "full").write_text("a file where the folder should be")
    log = FaultLog()
    with log.kept_in(tmp_path / "full" / "pit.log"):
        log.record("routing", _raised())
        until("what is wrong with the log", lambda: log.status()["error"])
        assert log.status() == {"file": str(tmp_path / "full" / "pit.log"), "faults": 1, "error": "Not a directory"}


def test_without_a_file_faults_are_only_counted() -> None:
    """Outside an engine the sentence names no file."""
    log = FaultLog()
    assert log.record("routing", _raised()) == "a fault of Bayleaf itself: RuntimeError('a mistake')"
    assert log.status() == {"file": None, "faults": 1, "error": None}


def test_the_file_lies_below_the_state_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is in XDG_STATE_HOME/bayleaf (XDG Base Directory Specification), even for a name with a slash."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert log_file("pit") == tmp_path / "bayleaf" / "pit.log"
    assert log_file("../pit").parent == tmp_path / "bayleaf"


_BROKEN = """
import engine.cli.commands.check, sys
def broken(*_): raise RuntimeError("a mistake")
engine.cli.commands.check.load = broken
sys.argv = ["bayleaf", "check", "pit.toml"]
from engine.cli.app import main
main()
"""


def test_a_command_that_fails_says_where_the_traceback_is(tmp_path: Path) -> None:
    """A fault in a command gives one sentence and status 1; the traceback is in commands.log."""
    done = subprocess.run(
        [sys.executable, "-c", _BROKEN],
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    file = tmp_path / "bayleaf" / "commands.log"
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == f"a fault of Bayleaf itself: RuntimeError('a mistake'); details in {file}\n"
    assert "while running check pit.toml: RuntimeError" in file.read_text()
    assert "Traceback" in file.read_text()
