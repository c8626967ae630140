"""A stage that is attacked while it plays: an engine on FIFOs, its panel, a player who measures, and their memory."""

import contextlib
import json
import os
import re
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.live.socket.client import connected
from tests.support.answering_engine import until_it_answers
from tests.support.paths import process_of
from tests.support.timed_notes import TimedNotes
from tests.support.waiting import until

NAME: Final = "attacked"
DEVICE: Final = 5  # of the rig's `[remote]`
_MB: Final = 1_000_000
_MEMORY: Final = 4 << 30  # bytes that the engine may map: an attack that succeeds must not take the computer with it
#: inputs of `[remote]`: from one that has sent too much, the engine takes less for a while
REMOTES: Final = tuple(f"REMOTE-{number}" for number in range(1, 9))
_FIFOS: Final = ("KEYS", "STRINGS", "REPLIES", "PADS", *REMOTES)
_ANSWERED: Final = 60  # seconds: the engine's worker process may be at work on an attack for 30
_ENDS_WITHIN: Final = 10  # seconds from SIGTERM

RIG: Final = """\
format = 1
[rig]
name = "Lantern Street pit band"
[inputs]
keys = { device = "FOLDER/KEYS" }
pads = { device = "FOLDER/PADS" }
REMOTES
[outputs]
strings = { device = "FOLDER/STRINGS" }
replies = { device = "FOLDER/REPLIES" }
[instruments.string-machine]
output = "strings"
channel = 5
sounds = { "Warm" = { program = 12 } }
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "keys", to = "strings" }, { from = "pads", to = "replies" }]
LARGE
[remote]
inputs = REMOTE_NAMES
device = 5
restore = true
to = ["replies"]
[osc]
port = OSC_PORT
"""
_SCENES: Final = range(2, 129)
_LARGE: Final = "".join(
    f'[[scenes]]\nnumber = {number}\nname = "Scene {number}"\n'
    'burst = [{ instrument = "string-machine", sound = "Warm" }]\n'
    f'routes = [{{ from = "keys", to = "strings", through = [{{ filter = "zone", notes = [{number % 60}, 127] }}] }}]\n'
    for number in _SCENES
)
_RIG: Final = (
    RIG.replace("LARGE\n", _LARGE)
    .replace("REMOTES\n", "".join(f'{name} = {{ device = "FOLDER/{name}" }}\n' for name in REMOTES))
    .replace("REMOTE_NAMES", json.dumps(REMOTES))
)


class Target(NamedTuple):
    """Where an attacker gets at the stage."""

    folder: Path
    rig: str  # the text of the rig file
    osc: int  # UDP port
    panel: int  # TCP port

    @property
    def rig_file(self) -> Path:
        """The rig file."""
        return self.folder / "rig.toml"

    @property
    def control(self) -> Path:
        """The engine's socket."""
        return self.folder / "bayleaf" / f"{NAME}.sock"

    def fifo(self, name: str) -> Path:
        """The FIFO of a port: PADS, or one of REMOTES."""
        return self.folder / name

    def packed(self) -> str:
        """As an argument of a command."""
        return json.dumps([str(self.folder), *self[1:]])

    @classmethod
    def unpacked(cls, text: str) -> "Target":
        """The target that was packed."""
        folder, *others = json.loads(text)
        return cls(Path(folder), *others)


class Weight(NamedTuple):
    """Megabytes in memory."""

    engine: float
    panel: float


class AttackedStage:
    """Everything of one trial, in a folder of its own with a short path."""

    def __init__(self, folder: Path, more: str) -> None:
        """`more` is added to the rig, with free ports of TCP for each PORT."""
        for name in _FIFOS:
            os.mkfifo(folder / name)
        osc = free_port()
        rig = _RIG.replace("FOLDER", str(folder)).replace("OSC_PORT", str(osc))
        while "PORT" in more:
            more = more.replace("PORT", str(free_port()), 1)
        rig += more
        self._environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        (folder / "rig.toml").write_text(rig, encoding="utf-8")
        self._folder = folder
        self._open = [os.open(folder / name, os.O_RDWR | os.O_NONBLOCK) for name in _FIFOS]
        self._ended = threading.Event()
        self._drain = threading.Thread(target=self._read_replies)
        self._said = (folder / "said.txt").open("wb")
        self._drain.start()
        self.engine = self._start("run", str(folder / "rig.toml"), "--name", NAME, "--backend", "memory", "--virtual")
        resource.prlimit(self.engine.pid, resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        until_it_answers(self.engine, folder, NAME)
        self.panel = self._start("panel", "--name", NAME, "--port", "0", stdout=subprocess.PIPE)
        assert self.panel.stdout is not None
        found = re.search(rb"http://127\.0\.0\.1:(\d+)/", self.panel.stdout.readline())
        assert found is not None, "the panel names no address"
        self.target = Target(folder, rig, osc, int(found[1]))
        # one process that has loaded all attacks, of which each attacker is a copy
        self._attackers = subprocess.Popen(
            [*process_of("attacks"), self.target.packed()],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._said,
        )

    def _start(self, *arguments: str, stdout: int | None = None) -> "subprocess.Popen[bytes]":
        command = [sys.executable, "-m", "engine.cli", *arguments]
        return subprocess.Popen(command, env=self._environment, stdout=stdout or self._said, stderr=self._said)

    def _read_replies(self) -> None:
        while not self._ended.wait(0.05):
            with contextlib.suppress(BlockingIOError):
                while os.read(self._open[_FIFOS.index("REPLIES")], 65536):
                    pass

    def play(self, seconds: float) -> TimedNotes:
        """Play for this long, and measure."""
        fifos = [str(self._folder / name) for name in ("KEYS", "STRINGS")]
        command = [*process_of("timed_notes"), *fifos, str(seconds)]
        done = subprocess.run(command, stdout=subprocess.PIPE, check=True, timeout=seconds + 60)
        return TimedNotes(**json.loads(done.stdout))

    @contextlib.contextmanager
    def attacked(self, name: str) -> Iterator[None]:
        """Until the end of the block this attack is made again and again, by another process."""
        assert self._attackers.stdin is not None
        assert self._attackers.stdout is not None
        self._attackers.stdin.write(f"{name}\n".encode())
        self._attackers.stdin.flush()
        attacker = int(self._attackers.stdout.readline())
        try:
            yield
            assert Path(f"/proc/{attacker}").exists(), f"the attacker has ended: {self.said()}"
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.kill(attacker, signal.SIGKILL)

    def calm(self) -> None:
        """The rig file is again what it was, and the engine knows: nothing of an attack is left to be worked off."""
        self.target.rig_file.write_text(self.target.rig, encoding="utf-8")
        until("the rig file is accepted", lambda: self.status()["refused_rig"] is None)

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """One request on the engine's socket."""
        with connected(self.target.control, _ANSWERED) as talk:
            talk.sendall(json.dumps(request).encode() + b"\n")
            with talk.makefile("rb") as lines:
                answer: dict[str, Any] = json.loads(lines.readline())
                return answer

    def status(self) -> dict[str, Any]:
        """All that there is to know."""
        found: dict[str, Any] = self.ask({"do": "status"})["status"]
        return found

    def weight(self) -> Weight:
        """What engine and panel hold in memory now; from now on `heaviest` counts."""
        for process in (self.engine, self.panel):
            Path(f"/proc/{process.pid}/clear_refs").write_text("5")  # proc_pid_clear_refs(5): resets the peak
        return Weight(_status(self.engine.pid, "VmRSS"), _status(self.panel.pid, "VmRSS"))

    def heaviest(self) -> Weight:
        """The most that they held since `weight`."""
        return Weight(_status(self.engine.pid, "VmHWM"), _status(self.panel.pid, "VmHWM"))

    def said(self) -> str:
        """What all processes have printed, the last of it."""
        return (self._folder / "said.txt").read_text(errors="replace")[-3000:]

    def end(self) -> int:
        """End the engine as a service manager does; its exit status. Fails if it hangs."""
        self.engine.send_signal(signal.SIGTERM)
        return self.engine.wait(_ENDS_WITHIN)

    def close(self) -> None:
        """End everything that still runs."""
        for process in (self._attackers, self.panel, self.engine):
            process.kill()
            process.communicate()
        self._ended.set()
        self._drain.join()
        self._said.close()
        for handle in self._open:
            os.close(handle)


def _status(process: int, field: str) -> float:
    """A field of /proc/PID/status in megabytes; proc_pid_status(5)."""
    text = Path(f"/proc/{process}/status").read_text()
    found = re.search(rf"^{field}:\s+(\d+) kB", text, re.MULTILINE)
    assert found is not None
    return int(found[1]) * 1024 / _MB


def free_port() -> int:
    """A port that nobody uses, of UDP and probably of TCP."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def attacked_stage(folder: Path, more: str = "") -> Iterator[AttackedStage]:
    """A stage until the end of the block, after its first second; `more` is added to its rig."""
    stage = AttackedStage(folder, more)
    try:
        time.sleep(1.0)  # what starts grows; nothing tells when it is done
        yield stage
    finally:
        stage.close()
