"""Machines of one show: two engines and one that lends, started as their users would.

Each is in a network namespace of its own, or all are on this computer.
"""

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.support.engine_process import ask_socket
from tests.support.network_namespaces import NamespaceNetwork
from tests.support.paths import process_of

ENGINES = ("desk", "spare")
PATIENCE = 60.0  # seconds until three machines have found each other


class ThreeMachines:
    """`left` lends, `desk` is the main engine, `spare` the standby; each has folders of its own."""

    def __init__(self, net: NamespaceNetwork | None, folder: Path, rig: str) -> None:
        """Without network namespaces, all are on this computer."""
        self._net = net
        self.folder = folder
        self.file = folder / "rig.toml"
        self.file.write_text(rig, encoding="utf-8")
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def make_keys(self) -> None:
        """Make certificates for all of them."""
        command = [sys.executable, "-m", "engine.cli", "network", "keys", str(self.file)]
        done = subprocess.run(command, env=self.environment("desk"), check=False, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr

    def start(self, name: str) -> None:
        """Start a machine's program, without waiting for anything."""
        command = "run" if name in ENGINES else "lend"
        options = ["--machine", name, "--backend", "memory"]
        started = [*process_of("stuck_bayleaf"), command, str(self.file), *options]
        if self._net is not None:
            started = self._net.command(name, *started)
        with (self.folder / f"{name}.txt").open("ab") as talk:
            self._running[name] = subprocess.Popen(started, env=self.environment(name), stdout=talk, stderr=talk)

    def signal(self, name: str, which: signal.Signals) -> None:
        """Send a machine's program a signal."""
        self._running[name].send_signal(which)

    def kill(self, name: str) -> None:
        """Kill it, as a power cut does."""
        process = self._running.pop(name)
        process.kill()
        process.wait()

    def end(self) -> None:
        """Stop all of them; each must exit with 0."""
        for name in (*ENGINES, "left"):
            if name in self._running:
                process = self._running.pop(name)
                process.terminate()
                assert process.wait(timeout=30) == 0, self.said(name)

    def close(self) -> None:
        """Kill whatever still runs."""
        for name in list(self._running):
            self.kill(name)

    def said(self, name: str) -> str:
        """What a machine has printed for its player."""
        return (self.folder / f"{name}.txt").read_text(encoding="utf-8")

    def request(self, name: str, do: str, /, **more: object) -> dict[str, Any] | None:
        """An engine's answer on its socket; None if it does not run or does not answer."""
        return ask_socket(self.environment(name), "bayleaf", do, **more)

    def network(self, name: str) -> dict[str, Any] | None:
        """The network as an engine sees it."""
        answer = self.request(name, "status")
        return answer["status"]["network"] if answer is not None else None

    def leader(self) -> str | None:
        """The engine in charge, once both engines and the owner of the outputs agree; None until then."""
        seen = [network for name in ENGINES if (network := self.network(name)) is not None]
        if len(seen) < len(ENGINES) or not all(machine["there"] for each in seen for machine in each["machines"]):
            return None
        found = {each["in_charge"] for each in seen} | {
            machine["played_by"] for each in seen for machine in each["machines"] if not machine["engine"]
        }
        states = sorted(each["state"] for each in seen)
        return found.pop() if len(found) == 1 and states == ["following", "in charge"] else None

    def environment(self, name: str) -> dict[str, str]:
        """The environment of a machine's programs."""
        own = self.folder / name
        own.mkdir(exist_ok=True)
        return {**os.environ, "XDG_RUNTIME_DIR": str(own), "XDG_STATE_HOME": str(own / "state")}
