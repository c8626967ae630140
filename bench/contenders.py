"""Contenders, each a process of its own until its turn is over. One that ends earlier, or does nothing, is an error."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Final

from bench.machine import family_threads_time, threads_time

BAYLEAF: Final = "Bayleaf"
_LAST_LINES: Final = 12  # of what a contender has said
_DEADLINE: Final = 20.0  # seconds for something to end
_STARTED: Final = 60.0  # seconds for children to start
_LOOK: Final = 0.5  # seconds in which it is seen whether children rest
_AT_REST: Final = 0.01  # of a core


class Failed(Exception):
    """A contender cannot be measured: the text names it and has the end of its output."""

    def __init__(self, name: str, how: str, folder: Path) -> None:
        """`folder`: the one that it was started in."""
        lines = said(folder).splitlines()[-_LAST_LINES:]
        output = (
            "\n".join(("the end of its output:", *(f"    {line}" for line in lines))) if lines else "it said nothing"
        )
        super().__init__(f"{name} {how}; {output}")


@contextmanager
def contender(name: str, command: Sequence[str], folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    """The process, started but perhaps not ready yet; ended with the block.

    Raises Failed if it ends by itself before, whatever else has failed since then.
    """
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
    with _output(folder).open("wb") as talk:
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=talk, stderr=talk, env=environment)
    try:
        yield process
    finally:
        status = process.poll()
        assert process.stdin is not None
        process.stdin.close()  # the forwarders end with it
        end(process)
        if status is not None:
            raise Failed(name, f"ended by itself, with status {status}", folder)


def running(folder: Path, rig: str, *options: str) -> AbstractContextManager[subprocess.Popen[bytes]]:
    """`bayleaf run` with this rig and these options."""
    (folder / "rig.toml").write_text(rig, encoding="utf-8")
    command = [sys.executable, "-m", "engine.cli", "run", str(folder / "rig.toml"), "--name", "bench", *options]
    return contender(BAYLEAF, command, folder)


def at_rest(name: str, process: int, folder: Path, seconds: float) -> float:
    """What a contender and its children use while nobody plays, in % of a core. Raises Failed if that is nothing."""
    _let_children_start(process)
    since, used = time.monotonic(), family_threads_time(process)
    time.sleep(seconds)
    share = 100 * (family_threads_time(process) - used) / (time.monotonic() - since)
    if not share:
        raise Failed(name, f"did nothing for {seconds:g} s", folder)
    return share


def _let_children_start(process: int) -> None:
    """Wait until they rest: they start at a low priority, which takes long on a busy machine."""
    end = time.monotonic() + _STARTED
    while time.monotonic() < end:
        used = family_threads_time(process) - threads_time(process)
        time.sleep(_LOOK)
        if family_threads_time(process) - threads_time(process) - used < _AT_REST * _LOOK:
            return


def said(folder: Path) -> str:
    """What the contender that was started last in this folder has said so far."""
    return _output(folder).read_text(errors="replace")


def end(process: subprocess.Popen[bytes]) -> None:
    """End a process, at last by force."""
    process.terminate()
    try:
        process.wait(_DEADLINE)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _output(folder: Path) -> Path:
    return folder / "said.txt"
