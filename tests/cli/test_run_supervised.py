"""The handbook's unit for a supervisor: what it starts, and when it is started again.

Source of the keys: systemd.service(5), systemd.unit(5), from memory.
"""

import configparser
import json
import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from engine import handbook
from tests.support.waiting import until

pytestmark = pytest.mark.slow

RIG = 'format = 1\n[[scenes]]\nnumber = 1\nname = "Only"\n'


class AsWritten(configparser.ConfigParser):
    """A parser that keeps capital letters in keys."""

    def optionxform(self, optionstr: str) -> str:
        return optionstr


def unit() -> configparser.ConfigParser:
    """The unit file as the page "running" prints it."""
    text = handbook.pages()["running"].text.split("```ini\n")[1].split("```")[0]
    parsed = AsWritten(interpolation=None)
    parsed.read_string(text)
    return parsed


def home(tmp_path: Path, rig: str) -> dict[str, str]:
    """A home folder as that page describes it, and its environment."""
    (tmp_path / "bayleaf" / ".venv").mkdir(parents=True)
    (tmp_path / "bayleaf" / ".venv" / "bin").symlink_to(Path(sys.executable).parent)
    (tmp_path / "rigs").mkdir()
    (tmp_path / "rigs" / "pit.toml").write_text(rig)
    return {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path / "r"), "XDG_STATE_HOME": str(tmp_path / "s")}


def command(tmp_path: Path) -> list[str]:
    """What the supervisor would start for bayleaf@pit, on ports that exist everywhere."""
    line = unit()["Service"]["ExecStart"].replace("%h", str(tmp_path)).replace("%i", "pit")
    return [*shlex.split(line), "--backend", "memory"]


def test_what_the_unit_starts_answers_and_is_started_again_when_killed(tmp_path: Path) -> None:
    """The unit's command plays the rig under its name; a kill counts as a failure, after which it starts again."""
    environment = home(tmp_path, RIG)
    bayleaf = command(tmp_path)[0]
    for _ in range(2):
        process = subprocess.Popen(command(tmp_path), env=environment, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 30
        while True:
            asked = subprocess.run(
                [bayleaf, "status", "--json", "--name", "pit"], env=environment, capture_output=True, check=False
            )
            if asked.returncode == 0:
                break
            assert process.poll() is None
            assert time.monotonic() < end
        assert json.loads(asked.stdout)["scene"] == {"number": 1, "name": "Only"}
        process.kill()
        assert process.wait() == -9
    assert unit()["Service"]["Restart"] == "on-failure"


def test_a_server_that_is_not_there_yet_is_waited_for(tmp_path: Path) -> None:
    """Without a MIDI system the unit's command says so once and goes on looking, until it is stopped."""
    environment = {**home(tmp_path, RIG), "JACK_DEFAULT_SERVER": "bayleaf-never", "JACK_NO_START_SERVER": "1"}
    with (tmp_path / "said").open("w+") as said:
        process = subprocess.Popen([*command(tmp_path)[:-1], "jack"], env=environment, stderr=said)
        try:
            until("its first words", lambda: "waiting until" in (tmp_path / "said").read_text())
            with pytest.raises(subprocess.TimeoutExpired):
                process.wait(1.5)
        finally:
            process.terminate()
        assert process.wait() == -signal.SIGTERM
    assert (tmp_path / "said").read_text().count("waiting until") == 1


def test_a_faulty_rig_is_not_started_again_and_again(tmp_path: Path) -> None:
    """A rig with an error ends with a status after which the supervisor does not restart it."""
    environment = home(tmp_path, RIG.replace("number", "nubmer"))
    done = subprocess.run(command(tmp_path), env=environment, capture_output=True, text=True, check=False)
    assert "pit.toml:3: " in done.stderr
    assert str(done.returncode) in unit()["Service"]["RestartPreventExitStatus"].split()
