"""A running engine and the commands that act on it, each in its own process as in a terminal."""

import json
import os
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from tests.support.engine_on_fifos import DEADLINE, EngineOnFifos
from tests.support.paths import BAYLEAF
from tests.support.waiting import until

pytestmark = pytest.mark.slow


@pytest.fixture
def running(tmp_path: Path) -> Iterator[EngineOnFifos]:
    made = EngineOnFifos(tmp_path)
    yield made
    made.close()


def test_commands_act_and_answer(running: EngineOnFifos) -> None:
    """scene, next, back, panic and resend act on the engine and report the result; the cable shows it."""
    running.start()
    burst = bytes.fromhex("B0 00 01 B0 20 02 C0 02")
    assert running.heard(burst) == burst
    said = running.bayleaf("next")
    assert (said.returncode, said.stdout) == (0, "scene 2 Two\n")
    said = running.bayleaf("next")
    assert said.returncode == 0
    assert said.stdout == "already at the end of set list Friday\n"
    said = running.bayleaf("back")
    assert said.stdout == "scene 1 One, nothing to send\n"  # its instrument is on its sound already
    assert running.bayleaf("resend").stdout.startswith("scene 1 One sent again")
    assert running.heard(burst) == burst
    assert running.bayleaf("scene", "Two").returncode == 0
    assert running.scene() == {"number": 2, "name": "Two"}
    said = running.bayleaf("scene", "9")
    assert said.returncode == 1
    assert said.stderr == "there is no scene 9; nothing changed. There are: 1 One, 2 Two\n"
    assert running.bayleaf("panic").stdout.startswith("panic: 0 notes released")
    assert b"\xb0\x7b\x00" in running.heard(b"\xef\x00\x40")


def test_a_set_list_and_its_entry_are_one_answer(running: EngineOnFifos) -> None:
    """With --json a command prints one JSON value, even when given both a set list and an entry of it."""
    running.start()
    asked = "setlist", "Friday", "--entry", "2"
    assert json.loads(running.bayleaf(*asked, "--json").stdout)["scene"] == [2, "Two"]
    shown = [line.split() for line in running.bayleaf("setlist").stdout.splitlines()]
    assert ["2", "2", "Two", "here"] in shown
    assert running.bayleaf(*asked).stdout == "set list Friday, last entry\nscene 2 Two\n"


def test_a_note_crosses_a_scene_change_and_sigterm_releases_what_is_held(running: EngineOnFifos) -> None:
    """A held key is released where it was pressed; a note still held at SIGTERM is released, with status 0."""
    process = running.start()
    running.heard(bytes.fromhex("C0 02"))
    os.write(running.keys, bytes.fromhex("90 3C 40 C0 01 90 40 40"))
    assert running.heard(bytes.fromhex("90 4C 40")) == bytes.fromhex("90 3C 40 90 4C 40")
    assert running.scene() == {"number": 2, "name": "Two"}
    os.write(running.keys, bytes.fromhex("80 3C 20"))
    assert running.heard(bytes.fromhex("80 3C 20")) == bytes.fromhex("80 3C 20")
    process.send_signal(signal.SIGTERM)
    assert running.heard(bytes.fromhex("80 4C 40")) == bytes.fromhex("80 4C 40")
    process.communicate(timeout=DEADLINE)
    assert process.returncode == 0


def test_the_last_scene_is_recalled_at_the_next_start(running: EngineOnFifos) -> None:
    """With start = "last" the previous scene is recalled, also after kill -9, which leaves a stale socket."""
    process = running.start()
    running.bayleaf("scene", "2")
    until("the scene on disk", lambda: "2" in _state(running))
    process.kill()
    process.communicate()
    assert list(running.folder.rglob("*.sock")), "the socket must have been left behind for this test to mean something"
    running.start()
    assert running.scene() == {"number": 2, "name": "Two"}


def _state(running: EngineOnFifos) -> str:
    shows = [json.loads(file.read_text())["shows"] for file in (running.folder / "state").rglob("*.json")]
    return str([standing[0] for listed in shows for standing in listed.values()])


def test_two_engines_of_one_name(running: EngineOnFifos) -> None:
    """A second engine of the same name is rejected with one sentence; the first keeps playing."""
    running.start()
    second = running.run()
    _, said = second.communicate(timeout=DEADLINE)
    assert second.returncode == 1
    assert said == 'an engine named "bayleaf" is running; give this one another with --name NAME\n'
    assert running.bayleaf("status").returncode == 0


def test_a_folder_too_deep_for_a_socket(running: EngineOnFifos) -> None:
    """A socket's path has at most 108 bytes (unix(7)); commands work in a folder with a longer path, too."""
    deep = running.folder / ("deep" * 30)
    deep.mkdir(mode=0o700)
    running.environment["XDG_RUNTIME_DIR"] = str(deep)
    process = running.run()

    def obeyed() -> bool:
        assert process.poll() is None, process.communicate()[1]
        return running.bayleaf("scene", "2").returncode == 0

    until("the engine", obeyed)
    assert (deep / "bayleaf" / "bayleaf.sock").is_socket()
    assert running.scene() == {"number": 2, "name": "Two"}


def test_watch_speaks_musicians_words(running: EngineOnFifos) -> None:
    """`watch` shows what goes in and out with port, channel and note name."""
    running.start()
    command = [str(BAYLEAF), "watch"]
    watching = subprocess.Popen(command, env=running.environment, stdout=subprocess.PIPE, text=True)
    running.processes.append(watching)
    assert watching.stdout is not None
    playing = threading.Event()

    def play() -> None:  # repeated, since there is no sign that the watcher is ready
        while not playing.wait(0.05):
            os.write(running.keys, bytes.fromhex("94 3C 40 84 3C 40"))

    player = threading.Thread(target=play)
    player.start()
    lines: list[str] = []
    try:
        while not any(" out " in line for line in lines):
            lines.append(watching.stdout.readline())
    finally:
        playing.set()
        player.join()
    assert any("in" in line and "keys" in line and "channel 5 note on C4 velocity 64" in line for line in lines)
    assert any("out" in line and "strings" in line for line in lines)


def test_rubbish_on_a_device_harms_nothing(running: EngineOnFifos) -> None:
    """Random bytes on an input are counted as repairs; whole messages among them pass, and the engine keeps running."""
    running.start()
    running.heard(bytes.fromhex("C0 02"))
    os.write(running.keys, bytes.fromhex("3C 40 F7 90 F0 01 90 3C F4 90 3C 40"))
    assert running.heard(bytes.fromhex("90 3C 40"))
    inputs = json.loads(running.bayleaf("status", "--json").stdout)["inputs"]
    assert inputs[0]["repairs"] > 0


def test_the_status_names_the_fault_log(running: EngineOnFifos) -> None:
    """As text and as JSON, `status` gives the path of the fault log, below XDG_STATE_HOME, and the number of faults."""
    running.start()
    file = running.folder / "state" / "bayleaf" / "bayleaf.log"
    log = json.loads(running.bayleaf("status", "--json").stdout)["log"]
    assert log == {"file": str(file), "faults": 0, "error": None}
    assert f"fault log: {file} (no faults)" in running.bayleaf("status", "--all").stdout.splitlines()


def test_the_status_names_the_log_of_the_panel(running: EngineOnFifos) -> None:
    """Once the front panel, a process of its own, has logged a fault, `status` gives its log and when the last came."""
    running.start()
    assert json.loads(running.bayleaf("status", "--json").stdout)["panel_log"] is None
    assert "front panel" not in running.bayleaf("status", "--all").stdout
    file = running.folder / "state" / "bayleaf" / "bayleaf-panel.log"
    file.write_text("2026-03-01 20:15:00,000 while serving /pair: RuntimeError('a mistake')\n")
    log = json.loads(running.bayleaf("status", "--json").stdout)["panel_log"]
    assert log["file"] == str(file)
    assert datetime.fromisoformat(log["last"]).timestamp() == pytest.approx(file.stat().st_mtime, abs=1)
    line = f"fault log of the front panel: {file} (last fault {log['last']})"
    assert line in running.bayleaf("status", "--all").stdout.splitlines()


def test_a_port_that_is_missing_at_start_is_reported_and_the_rest_plays(running: EngineOnFifos) -> None:
    """A missing device is one sentence on stderr; the engine plays without it and `status` shows it."""
    (running.folder / "KEYS").unlink()
    running.start()
    inputs = json.loads(running.bayleaf("status", "--json").stdout)["inputs"]
    assert inputs[0]["state"] == "missing"
    assert "there is no such device" in inputs[0]["last_error"]


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_an_impatient_second_signal_ends_nothing_badly(running: EngineOnFifos, end: signal.Signals) -> None:
    """A second Ctrl-C, or a second SIGTERM as `timeout` and service managers send it, does no harm at any moment before
    the process has gone: the held note is still released, the status is 0, no traceback is shown, and no socket is left
    behind that the next start would take for a crash."""
    process = running.start()
    running.heard(bytes.fromhex("C0 02"))
    os.write(running.keys, bytes.fromhex("90 3C 40"))
    running.heard(bytes.fromhex("90 3C 40"))
    while process.poll() is None:
        process.send_signal(end)
        time.sleep(0.002)  # as an impatient user does
    assert running.heard(bytes.fromhex("80 3C 40")) == bytes.fromhex("80 3C 40")
    _, said = process.communicate(timeout=DEADLINE)
    assert process.returncode == 0
    assert "Traceback" not in said
    assert not (running.folder / "bayleaf" / "bayleaf.sock").exists()
