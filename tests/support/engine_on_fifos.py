"""An engine started by its command, on a rig file whose byte devices are FIFOs: one for a keyboard, one for a synth."""

import json
import os
import subprocess
from pathlib import Path

from tests.support.answering_engine import until_it_answers
from tests.support.bayleaf_command import completed
from tests.support.fifo_ends import read_until
from tests.support.paths import BAYLEAF

DEADLINE = 30.0
RIG = """
format = 1
[inputs]
keys = { device = "KEYS" }
[outputs]
strings = { device = "STRINGS" }
[[scenes]]
number = 1
name = "One"
routes = [ { from = "keys", to = "strings" } ]
burst = [ { output = "strings", channel = 1, bank = [1, 2], program = 3 } ]
[[scenes]]
number = 2
name = "Two"
routes = [ { from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 12 } ] } ]
[[setlists]]
name = "Friday"
scenes = [1, 2]
[[controls]]
input = "keys"
when = { program = "any" }
do = "scene"
"""


class EngineOnFifos:
    """A folder with two FIFOs as cables, and an engine on them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        for name in ("KEYS", "STRINGS"):
            os.mkfifo(folder / name)
        self.rig = folder / "rig.toml"
        self.rig.write_text(RIG.replace("KEYS", str(folder / "KEYS")).replace("STRINGS", str(folder / "STRINGS")))
        self.keys = os.open(folder / "KEYS", os.O_RDWR | os.O_NONBLOCK)
        self.strings = os.open(folder / "STRINGS", os.O_RDWR | os.O_NONBLOCK)
        self.processes: list[subprocess.Popen[str]] = []

    def run(self, *options: str, backend: str | None = "memory") -> subprocess.Popen[str]:
        chosen = [] if backend is None else ["--backend", backend]
        command = [str(BAYLEAF), "run", str(self.rig), *chosen, *options]
        process = subprocess.Popen(command, env=self.environment, stderr=subprocess.PIPE, text=True)
        self.processes.append(process)
        return process

    def bayleaf(self, *words: str) -> subprocess.CompletedProcess[str]:
        return completed(self.environment, Path.cwd(), *words)

    def start(self, *options: str, backend: str | None = "memory") -> subprocess.Popen[str]:
        process = self.run(*options, backend=backend)
        until_it_answers(process, self.folder)
        return process

    def scene(self) -> object:
        return json.loads(self.bayleaf("status", "--json").stdout)["scene"]

    def heard(self, ends: bytes) -> bytes:
        """Read what comes down the cable until it ends with these bytes."""
        return read_until(self.strings, ends)

    def close(self) -> None:
        for process in self.processes:
            if process.returncode is None:
                process.kill()
                process.communicate()
        os.close(self.keys)
        os.close(self.strings)
