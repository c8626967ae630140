"""The rig's clock and time code by command: a running engine, its cables, and the commands as typed in a terminal."""

import contextlib
import json
import os
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support.answering_engine import until_it_answers
from tests.support.bayleaf_command import completed
from tests.support.paths import BAYLEAF
from tests.support.waiting import until

pytestmark = pytest.mark.slow

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
CLOCK = b"\xf8"
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
        return completed(self.environment, Path.cwd(), *arguments)

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

    def heard(self, expected: bytes) -> None:
        """Wait until these bytes have come down the cable."""
        data = b""

        def there() -> bool:
            nonlocal data
            try:
                data += os.read(self.strings, 4096)
            except BlockingIOError:
                return False
            # the clock goes on while it is stopped, also between the pieces of the time code
            return expected in (data if CLOCK in expected else data.replace(CLOCK, b""))

        until(f"{expected.hex()} on the cable", there)

    def close(self) -> None:
        for process in self.processes:
            process.kill()
            process.communicate()
        os.close(self.desk)
        os.close(self.strings)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[str], Engine]]:
    """Start an engine on a rig; all engines are stopped afterwards."""
    made: list[Engine] = []

    def begin(rig: str) -> Engine:
        made.append(Engine(tmp_path, rig))
        return made[-1]

    yield begin
    for each in made:
        each.close()


def test_the_clock_by_command(start: Callable[[str], Engine]) -> None:
    """start, stop, continue, locate, tap and a tempo act on the engine, report the result, and reach the cable."""
    engine = start(OWN)
    found = engine.status()
    assert (found["tempo"], found["clock_from"]) == (100.0, None)
    assert engine.said("clock", "start") == "clock running, 100 bpm\n"
    engine.heard(b"\xfa\xf8\xf8")
    assert engine.status()["clock_from"] == "internal"
    assert engine.refused("clock", "start") == "the clock is already running; nothing changed\n"
    assert engine.said("clock", "132.5") == "clock running, 132.5 bpm\n"
    assert "clock: 132.5 bpm, internal clock, running\n" in engine.said("status")
    assert engine.said("clock", "stop") == "clock stopped, 132.5 bpm\n"
    engine.heard(b"\xfc\xf8\xf8")  # it goes on while it is stopped
    assert engine.refused("clock", "stop") == "the clock is already stopped; nothing changed\n"
    assert engine.said("clock", "locate", "300") == "clock at song position 300\n"
    engine.heard(b"\xf2\x2c\x02")
    assert engine.said("clock", "continue") == "clock running, 132.5 bpm\n"
    engine.heard(b"\xf2\x2c\x02\xfb\xf8")
    assert (
        engine.refused("clock", "locate", "8") == "the clock is running; stop it before you locate; nothing changed\n"
    )
    assert "a song position is 0 to 16383" in engine.refused("clock", "locate", "16384")
    engine.said("clock", "tap")
    assert engine.status()["tempo"] == 132.5
    engine.said("clock", "tap")
    assert 20 <= engine.status()["tempo"] <= 300
    assert engine.refused("clock", "301") == "a tempo is 20 to 300 beats per minute; nothing changed\n"
    assert engine.refused("clock", "nan") == "a tempo is 20 to 300 beats per minute; nothing changed\n"
    assert engine.refused("clock", "stat") == (
        'there is no clock command "stat"; did you mean "start"? there are: start, continue, stop, tap, locate, '
        "or a tempo such as 120\n"
    )
    assert engine.refused("clock", "locate") == "locate needs a song position in sixteenths, such as locate 64\n"
    assert 'no clock command "tempo"' in engine.refused("clock", "tempo")


def test_the_time_code_by_command(start: Callable[[str], Engine]) -> None:
    """start, stop and a position act on the engine: it sends the full message, recalls cues, and shows the position."""
    engine = start(OWN + CUE)
    assert (engine.status()["timecode"], engine.status()["timecode_runs"]) == ("00:00:00;00", False)
    assert engine.said("timecode", "01:00:00:00") == "time code at 01:00:00;00\n"
    engine.heard(bytes.fromhex("F0 7F 7F 01 01 41 00 00 00 F7"))  # RP-004 p. 5
    assert "(29.97 fps drop, stopped), internal" in engine.said("status")
    assert engine.said("timecode", "start") == "time code running from 01:00:00;00\n"
    engine.heard(bytes.fromhex("F1 00 F1 10 F1 20"))
    until("what is shown", lambda: engine.status()["scene"] == {"number": 2, "name": "Two"})
    assert engine.said("timecode", "stop").startswith("time code stopped at 01:00:")
    assert not engine.status()["timecode_runs"]
    assert engine.refused("timecode", "stop") == "the time code is already stopped; nothing changed\n"
    assert engine.refused("timecode", "24:00:00:00").startswith('found "24:00:00:00"; allowed at 29.97 drop frames')
    assert "there are: start, stop, or a time such as 01:00:00:00" in engine.refused("timecode", "back")
    assert 'no time code command "locate"' in engine.refused("timecode", "locate")


def test_a_rig_without_either(start: Callable[[str], Engine]) -> None:
    """Without [sync] the commands are rejected, with what to write in the rig."""
    engine = start(RIG)
    assert "[sync.clock]" in engine.refused("clock", "start")
    assert "[sync.timecode]" in engine.refused("timecode", "start")
    assert (engine.status()["tempo"], engine.status()["timecode"]) == (None, None)


@contextlib.contextmanager
def feeding(engine: Engine, message: bytes) -> Iterator[None]:
    """Send these bytes every 20 ms until the end of the block."""
    ended = threading.Event()

    def feed() -> None:
        while not ended.wait(0.02):
            os.write(engine.desk, message)

    feeder = threading.Thread(target=feed)
    feeder.start()
    try:
        yield
    finally:
        ended.set()
        feeder.join()


def test_what_comes_in_is_shown(start: Callable[[str], Engine]) -> None:
    """`status` and `watch` show an input's clock and time code as tempo and position, and report when they stop."""
    engine = start(RIG)
    watcher = engine.open("watch", "--json")
    assert watcher.stdout is not None
    os.write(engine.desk, bytes.fromhex("F0 7F 7F 01 01 21 02 03 04 F7"))
    until("what is shown", lambda: engine.status()["timecode"] == "01:02:03:04")
    assert not engine.status()["timecode_runs"]
    with feeding(engine, bytes.fromhex("F8 F1 00")):
        until("what is shown", lambda: engine.status()["timecode_runs"] and engine.status()["tempo"])
        assert "clock: " in engine.said("status")
        assert "01:02:03" in engine.said("status")
        line = ""
        while '"way": "time"' not in line or '"timecode_runs": true' not in line:
            line = watcher.stdout.readline()
            assert line
        assert json.loads(line)["timecode_from"] == "desk"
    until("what is shown", lambda: not engine.status()["timecode_runs"])
    while '"way": "time"' not in line or '"timecode_runs": false' not in line:
        line = watcher.stdout.readline()
        assert line
    shown = json.loads(line)
    assert shown["timecode"] == engine.status()["timecode"]
