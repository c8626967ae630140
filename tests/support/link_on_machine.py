"""The tests' end of `link_process`: a link on a machine of `network_namespaces`, as an object."""

import json
import queue
import subprocess
import threading
from dataclasses import asdict
from typing import Any

from engine.cluster.link.link import LinkSettings
from tests.support.network_namespaces import NamespaceNetwork
from tests.support.paths import process_of
from tests.support.waiting import WITHIN


class FarMachine:
    """A process with a link. `heard`, `seen` and `asked` grow as they do there; `fault` if it could not join."""

    def __init__(self, net: NamespaceNetwork, where: str, settings: LinkSettings) -> None:
        self.heard: list[list[str]] = []
        self.seen: list[list[Any]] = []
        self.asked: list[str] = []
        self.fault: str | None = None
        self._answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self.process = subprocess.Popen(
            net.command(where, *process_of("link_process")), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._write(asdict(settings))
        self._answer()

    def do(self, what: str, key: str, payload: str = "") -> Any:
        """Call a method of the link there; returns what it returned."""
        self._write({"do": what, "key": key, "payload": payload})
        return self._answer()

    def close(self) -> None:
        """Let it end by itself; calling this again does nothing."""
        if self.process.stdin and not self.process.stdin.closed:
            self.process.stdin.close()
        self.process.wait(WITHIN)
        self._reader.join(WITHIN)
        if self.process.stdout:
            self.process.stdout.close()

    def kill(self) -> None:
        """As `kill -9` does."""
        self.process.kill()
        self.close()

    def _write(self, what: dict[str, Any]) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(what) + "\n")
        self.process.stdin.flush()

    def _answer(self) -> Any:
        return self._answers.get(timeout=WITHIN)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            for kind, what in json.loads(line).items():
                if kind in ("heard", "seen", "asked"):
                    getattr(self, kind).append(what)
                else:
                    self.fault = what if kind == "fault" else None
                    self._answers.put(what)
