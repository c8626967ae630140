"""Waiting for an engine that was just started."""

import socket
import subprocess
from pathlib import Path
from typing import Any

from tests.support.waiting import until

_DEADLINE = 30.0


def until_it_answers(process: "subprocess.Popen[Any]", folder: Path, name: str = "bayleaf") -> None:
    """Wait until the engine with this runtime folder answers. (A new process for each try would only slow it down.)"""

    def answers() -> bool:
        assert process.poll() is None, process.communicate()[1]
        return _answers(folder / "bayleaf" / f"{name}.sock")

    until("the engine's answer", answers)


def _answers(path: Path) -> bool:
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
            talk.settimeout(_DEADLINE)
            talk.connect(str(path))
            talk.sendall(b'{"do": "status"}\n')
            return bool(talk.recv(1))
    except OSError:
        return False
