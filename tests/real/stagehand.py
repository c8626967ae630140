"""Starts `bayleaf run` as its user would, and plays and hears it from outside with python-rtmidi alone."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import rtmidi

BAYLEAF = Path(sys.executable).parent / "bayleaf"
DEADLINE = 30.0


def wait_for(what: str, there: Callable[[], Any], deadline: float = DEADLINE) -> Any:
    """Wait until something is there; fails, saying what, after the deadline (s)."""
    end = time.monotonic() + deadline
    while not (found := there()):
        assert time.monotonic() < end, f"{what}: not within {deadline:.0f} s"
        time.sleep(0.02)
    return found


class Engine:
    """A running engine; its folders are its own."""

    def __init__(self, folder: Path, name: str) -> None:
        self.name = name
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}

    def bayleaf(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a bayleaf command beside it."""
        command = [str(BAYLEAF), *arguments]
        return subprocess.run(command, env=self.environment, capture_output=True, text=True, timeout=60, check=False)

    def ask(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """A command to this engine."""
        return self.bayleaf(*arguments, "--name", self.name)

    def status(self) -> dict[str, Any] | None:
        """Its status, or None while it does not answer."""
        done = self.ask("status", "--json")
        return json.loads(done.stdout) if done.returncode == 0 else None


@contextmanager
def engine(folder: Path, rig: str, *options: str, name: str = "pit") -> Iterator[Engine]:
    """An engine that plays this rig text until the end of the block; it must end well on SIGTERM."""
    file = folder / "rig.toml"
    file.write_text(rig, encoding="utf-8")
    running = Engine(folder, name)
    command = [str(BAYLEAF), "run", str(file), "--name", name, *options]
    process = subprocess.Popen(command, env=running.environment, stderr=subprocess.PIPE, text=True)
    try:
        wait_for("the engine's answer", lambda: process.poll() is not None or running.status())
        assert process.poll() is None, process.stderr.read() if process.stderr else ""
        yield running
    finally:
        process.terminate()
        _, said = process.communicate(timeout=10)
    assert process.returncode == 0, said


@contextmanager
def player(api: int, name: str) -> Iterator[rtmidi.MidiOut]:
    """A port of our own to play from."""
    port = rtmidi.MidiOut(api, name=name)
    port.open_virtual_port("out")
    try:
        yield port
    finally:
        port.delete()


@contextmanager
def joined(kind: type, api: int, name: str, wanted: Callable[[str], bool]) -> Iterator[Any]:
    """An rtmidi port of this kind, connected to the one system port whose name is wanted."""
    port = kind(api, name=name, **({"queue_size_limit": 8192} if kind is rtmidi.MidiIn else {}))
    try:
        if kind is rtmidi.MidiIn:
            port.ignore_types(False, False, False)

        def index() -> int | None:
            found = [number for number, each in enumerate(port.get_ports(encoding="utf-8")) if wanted(each)]
            return found[0] + 1 if len(found) == 1 else None

        port.open_port(wait_for(f"the port for {name}", index) - 1, "port")
        yield port
    finally:
        port.delete()


def play(port: Any, messages: Sequence[bytes], a_second: int = 2000) -> None:
    """Play messages at an even rate."""
    begin = time.monotonic()
    for number, message in enumerate(messages):
        time.sleep(max(0.0, begin + number / a_second - time.monotonic()))
        port.send_message(message)


def hear(port: Any, count: int, deadline: float = DEADLINE) -> list[bytes]:
    """Read until so many messages came, and then until nothing comes for a while."""
    heard: list[bytes] = []
    end, quiet_since = time.monotonic() + deadline, time.monotonic()
    while time.monotonic() < end and (len(heard) < count or time.monotonic() - quiet_since < 0.3):
        event = port.get_message()
        if event is None:
            time.sleep(0.001)
            continue
        heard.append(bytes(event[0]))
        quiet_since = time.monotonic()
    return heard
