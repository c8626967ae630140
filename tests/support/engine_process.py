"""Starts `bayleaf run` as its user would, and plays to it and listens from outside with python-rtmidi alone."""

import json
import os
import socket
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import rtmidi

from tests.support.paths import BAYLEAF
from tests.support.rtmidi_closing import close_safely
from tests.support.waiting import WITHIN, until


class Engine:
    """An engine that plays this rig text, started as its user would, once or several times; its folders are its own."""

    def __init__(self, folder: Path, rig: str, *options: str, name: str = "pit") -> None:
        self.name = name
        self.file = folder / "rig.toml"
        self.file.write_text(rig, encoding="utf-8")
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        self._options = options
        self._talk = folder / "said.txt"
        self.process: subprocess.Popen[bytes]

    def start(self) -> None:
        """Start to play; it may have been killed before."""
        self.begin()
        until("the engine's answer", lambda: self.process.poll() is not None or self.request("status"))
        assert self.process.poll() is None, self.said()

    def begin(self) -> None:
        """Start the process, without waiting for anything."""
        command = [str(BAYLEAF), "run", str(self.file), "--name", self.name, *self._options]
        with self._talk.open("ab") as talk:  # a file: a pipe that is not read would fill up while the engine runs
            self.process = subprocess.Popen(command, env=self.environment, stderr=talk)

    def kill(self) -> None:
        """Kill it, as a crash does."""
        self.process.kill()
        self.process.wait()

    def end(self) -> None:
        """Stop it; it must exit with 0 on SIGTERM."""
        self.process.terminate()
        assert self.process.wait(timeout=WITHIN) == 0, self.said()

    def said(self) -> str:
        """What it has printed for the player."""
        return self._talk.read_text(encoding="utf-8")

    def bayleaf(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run another bayleaf command in the same environment."""
        command = [str(BAYLEAF), *arguments]
        return subprocess.run(command, env=self.environment, capture_output=True, text=True, timeout=60, check=False)

    def ask(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Give this engine a command."""
        return self.bayleaf(*arguments, "--name", self.name)

    def status(self) -> dict[str, Any] | None:
        """Its status from the command, or None while it does not answer."""
        done = self.ask("status", "--json")
        return json.loads(done.stdout) if done.returncode == 0 else None

    def request(self, do: str, /, **more: object) -> dict[str, Any] | None:
        """Its answer on its socket (a new process for each question would take too long); None if it is not running."""
        return ask_socket(self.environment, self.name, do, **more)


def ask_socket(environment: dict[str, str], name: str, do: str, /, **more: object) -> dict[str, Any] | None:
    """The answer of the engine of this name, which runs in this environment; None if it is not running."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
            talk.settimeout(10)
            talk.connect(str(Path(environment["XDG_RUNTIME_DIR"]) / "bayleaf" / f"{name}.sock"))
            talk.sendall(json.dumps({"do": do, **more}).encode() + b"\n")
            answer = talk.makefile("rb").readline()
    except OSError:
        return None
    return json.loads(answer) if answer.endswith(b"\n") else None


@contextmanager
def engine(folder: Path, rig: str, *options: str, name: str = "pit") -> Iterator[Engine]:
    """An engine that plays this rig text until the end of the block; it must exit with 0 on SIGTERM."""
    running = Engine(folder, rig, *options, name=name)
    try:
        running.start()
        yield running
    except BaseException:
        running.kill()
        raise
    running.end()


@contextmanager
def player(api: int, name: str) -> Iterator[rtmidi.MidiOut]:
    """A port of our own to play from."""
    port = rtmidi.MidiOut(api, name=name)
    port.open_virtual_port("out")
    try:
        yield port
    finally:
        close_safely(port)


@contextmanager
def joined(kind: type, api: int, name: str, wanted: Callable[[str], bool]) -> Iterator[Any]:
    """An rtmidi port of this kind, connected to the one system port whose name matches."""
    port = kind(api, name=name, **({"queue_size_limit": 8192} if kind is rtmidi.MidiIn else {}))
    try:
        if kind is rtmidi.MidiIn:
            port.ignore_types(False, False, False)

        def index() -> int | None:
            found = [number for number, each in enumerate(port.get_ports(encoding="utf-8")) if wanted(each)]
            return found[0] + 1 if len(found) == 1 else None

        port.open_port(until(f"the port for {name}", index) - 1, "port")
        yield port
    finally:
        close_safely(port)


def play(port: Any, messages: Sequence[bytes], a_second: int = 2000) -> None:
    """Play messages at an even rate."""
    begin = time.monotonic()
    for number, message in enumerate(messages):
        time.sleep(max(0.0, begin + number / a_second - time.monotonic()))
        port.send_message(message)


def hear(port: Any, count: int, deadline: float = WITHIN) -> list[bytes]:
    """Read until `count` messages have arrived, and then until nothing comes for a while."""
    heard: list[bytes] = []
    end, quiet_since = time.monotonic() + deadline, time.monotonic()
    while time.monotonic() < end and (len(heard) < count or time.monotonic() - quiet_since < 0.3):
        event = port.get_message()
        if event is None:
            time.sleep(0.001)  # it ends with silence, and silence cannot be waited for
            continue
        heard.append(bytes(event[0]))
        quiet_since = time.monotonic()
    return heard
