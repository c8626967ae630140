"""An engine started by its command, on ports in memory, in a folder of its own."""

import json
import os
import subprocess
from pathlib import Path

from tests.support.answering_engine import until_it_answers
from tests.support.bayleaf_command import completed
from tests.support.paths import BAYLEAF


class EngineInMemory:
    """An engine on memory ports in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file = folder / "rig.toml"
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        self.process: subprocess.Popen[bytes]

    def start(self, text: str) -> None:
        self.file.write_text(text, encoding="utf-8")
        command = [str(BAYLEAF), "run", str(self.file), "--backend", "memory", "--virtual"]
        self.process = subprocess.Popen(command, env=self.environment, stderr=subprocess.DEVNULL)
        until_it_answers(self.process, self.folder)

    def bayleaf(self, *words: str) -> subprocess.CompletedProcess[str]:
        return completed(self.environment, self.folder, *words)

    def names(self) -> list[str]:
        """The names of the scenes in the rig that plays."""
        return [scene["name"] for scene in json.loads(self.bayleaf("scenes", "list", "--json").stdout)]
