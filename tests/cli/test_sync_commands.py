"""The rig's clock and time code by command: a running engine, its cables, and the commands as in a terminal."""

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from answering import until_it_answers

BAYLEAF = Path(sys.executable).parent / "bayleaf"
DEADLINE = 30.0
RIG = """
format = 1
[inputs]
desk = { device = "FOLDER/DESK" }
[outputs]
strings = { device = "FOLDER/STRINGS" }
[[scenes]]
number = 1
name = "One"
"""
OWN = RIG + '[sync.clock]\nto = "strings"\nbpm = 100\n[sync.timecode]\nto = "strings"\nrate = "29.97 drop"\n'
CUE = '[[scenes]]\nnumber = 2\nname = "Two"\nat = "01:00:00:02"\n'


class Engine:
    """A running engine with two FIFOs as cables."""

    def __init__(self, folder: Path, rig: str) -> None:
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        for name in ("DESK", "STRINGS"):
            os.mkfifo(folder / name)
        self.desk, self.strings = (os.open(folder / name, os.O_RDWR | os.O_NONBLOCK) for name in ("DESK", "STRINGS"))
        (folder / "rig.toml").write_text(rig.replace("FOLDER", str(folder)))
        self.processes: list[subprocess.Popen[str]] = []
        until_it_answers(self.open("run", str(folder / "rig.toml"), "--backend", "memory"), folder)

    def open(self, *arguments: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [str(BAYLEAF), *arguments],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.processes.append(process)
        return process

    def ask(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [str(BAYLEAF), *arguments]
        return subprocess.run(
            command, env=self.environment, capture_output=True, text=True, timeout=DEADLINE, check=False
        )

    def said(self, *arguments: str) -> str:
        answer = self.ask(*arguments)
        assert answer.returncode == 0, answer.stderr
        return answer.stdout

    def refused(self, *arguments: str) -> str:
        answer = self.ask(*arguments)
        assert (answer.returncode, answer.stdout) == (1, "")
        return answer.stderr

    def status(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.said("status", "--json"))
        return found

    def until(self, holds: Callable[[], object]) -> None:
        end = time.monotonic() + DEADLINE
        while not holds():
            assert time.monotonic() < end
            time.sleep(0.02)

    def heard(self, wanted: bytes) -> None:
        """Wait until this came down the cable."""
        data = b""

        def there() -> bool:
            nonlocal data
            try:
                data += os.read(self.strings, 4096)
            except BlockingIOError:
                return False
            return wanted in data

        self.until(there)

    def close(self) -> None:
        for process in self.processes:
            process.kill()
            process.communicate()
        os.close(self.desk)
        os.close(self.strings)


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Callable[[str], Engine]]:
    """Starts an engine on a rig; all are ended afterwards."""
    made: list[Engine] = []

    def start(rig: str) -> Engine:
        made.append(Engine(tmp_path, rig))
        return made[-1]

    yield start
    for each in made:
        each.close()


def test_the_clock_by_command(engine: Callable[[str], Engine]) -> None:
    """start, stop, continue, tap and a tempo act on the engine, say what happened, and are heard on the cable."""
    bay = engine(OWN)
    found = bay.status()
    assert (found["tempo"], found["clock_from"]) == (100.0, None)
    assert bay.said("clock", "start") == "clock: start, tempo 100\n"
    bay.heard(b"\xfa\xf8\xf8")
    assert bay.status()["clock_from"] == "internal"
    assert bay.refused("clock", "start") == "the clock runs already; nothing changed\n"
    assert bay.said("clock", "132.5") == "tempo 132.5\n"
    assert "clock: 132.5 beats a minute, from internal\n" in bay.said("status")
    assert bay.said("clock", "stop") == "clock: stop, tempo 132.5\n"
    bay.heard(b"\xfc")
    assert bay.refused("clock", "stop") == "the clock stands already; nothing changed\n"
    assert bay.said("clock", "continue") == "clock: continue, tempo 132.5\n"
    bay.heard(b"\xfb\xf8")
    bay.said("clock", "tap")
    assert bay.status()["tempo"] == 132.5
    bay.said("clock", "tap")
    assert 20 <= bay.status()["tempo"] <= 300
    assert bay.refused("clock", "301") == "a tempo is 20 to 300 beats a minute; nothing changed\n"
    assert bay.refused("clock", "nan") == "a tempo is 20 to 300 beats a minute; nothing changed\n"
    assert "it knows start, continue, stop, tempo" in bay.refused("clock", "faster")


def test_the_time_code_by_command(engine: Callable[[str], Engine]) -> None:
    """start, stop and a place act on the engine; the full message is heard, the cue passed, the place shown."""
    bay = engine(OWN + CUE)
    assert (bay.status()["timecode"], bay.status()["timecode_runs"]) == ("00:00:00;00", False)
    assert bay.said("timecode", "01:00:00:00") == "time code at 01:00:00;00\n"
    bay.heard(bytes.fromhex("F0 7F 7F 01 01 41 00 00 00 F7"))  # RP-004 p. 5
    assert "(29.97 drop frames, stands), from internal" in bay.said("status")
    assert bay.said("timecode", "start") == "time code runs from 01:00:00;00\n"
    bay.heard(bytes.fromhex("F1 00 F1 10 F1 20"))
    bay.until(lambda: bay.status()["scene"] == {"number": 2, "name": "Two"})
    assert bay.said("timecode", "stop").startswith("time code stands at 01:00:")
    assert not bay.status()["timecode_runs"]
    assert bay.refused("timecode", "stop") == "the time code stands already; nothing changed\n"
    assert bay.refused("timecode", "24:00:00:00").startswith('found "24:00:00:00"; allowed at 29.97 drop frames')
    assert "it knows start, stop, locate" in bay.refused("timecode", "back")


def test_a_rig_without_either(engine: Callable[[str], Engine]) -> None:
    """Without [sync] the commands are refused with what to write in the rig."""
    bay = engine(RIG)
    assert "[sync.clock]" in bay.refused("clock", "start")
    assert "[sync.timecode]" in bay.refused("timecode", "start")
    assert (bay.status()["tempo"], bay.status()["timecode"]) == (None, None)


@contextlib.contextmanager
def feeding(bay: Engine, message: bytes) -> Iterator[None]:
    """Something that sends this every 20 ms until the end of the block."""
    ended = threading.Event()

    def feed() -> None:
        while not ended.wait(0.02):
            os.write(bay.desk, message)

    feeder = threading.Thread(target=feed)
    feeder.start()
    try:
        yield
    finally:
        ended.set()
        feeder.join()


def test_what_comes_in_is_shown(engine: Callable[[str], Engine]) -> None:
    """Clock and time code of an input are shown by `status` and `watch` as tempo and place, and when they stop."""
    bay = engine(RIG)
    watcher = bay.open("watch", "--json")
    assert watcher.stdout is not None
    os.write(bay.desk, bytes.fromhex("F0 7F 7F 01 01 21 02 03 04 F7"))
    bay.until(lambda: bay.status()["timecode"] == "01:02:03:04")
    assert not bay.status()["timecode_runs"]
    with feeding(bay, bytes.fromhex("F8 F1 00")):
        bay.until(lambda: bay.status()["timecode_runs"] and bay.status()["tempo"])
        assert "clock: " in bay.said("status")
        assert "01:02:03" in bay.said("status")
        line = ""
        while '"way": "time"' not in line or '"timecode_runs": true' not in line:
            line = watcher.stdout.readline()
            assert line
        assert json.loads(line)["timecode_from"] == "desk"
    bay.until(lambda: not bay.status()["timecode_runs"])
    while '"way": "time"' not in line or '"timecode_runs": false' not in line:
        line = watcher.stdout.readline()
        assert line
    shown = json.loads(line)
    assert shown["timecode"] == bay.status()["timecode"]
