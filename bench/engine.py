"""`bayleaf run` as a process of its own, for parts `idle` and `start`: its rig, its folders, its command."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def running(folder: Path, rig: str, *options: str) -> Iterator[subprocess.Popen[bytes]]:
    """The process, started but perhaps not playing yet; ended with the block."""
    (folder / "rig.toml").write_text(rig, encoding="utf-8")
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
    command = [sys.executable, "-m", "engine.cli", "run", str(folder / "rig.toml"), "--name", "bench", *options]
    with (folder / "said.txt").open("wb") as talk:
        process = subprocess.Popen(command, stdout=talk, stderr=talk, env=environment)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(20)
