"""An engine and a machine that lends its ports, each in its own process, over zenoh on the loopback.

FIFOs stand in for cables. The behaviour is our own design; no source.
"""

import os
import signal
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.midi.byte_stream import StreamParser
from tests.support.bayleaf_command import completed
from tests.support.fifo_ends import read_past, read_until
from tests.support.paths import BAYLEAF
from tests.support.receiver import Receiver

pytestmark = pytest.mark.slow

DEADLINE = 30.0
RIG = """
format = 1
rig.name = "Lantern Street pit band"
[network]
main = "desk"
machine = "desk"
[network.machines]
desk = { listen = "127.0.0.1:PORT1" }
stage-left = { listen = "127.0.0.1:PORT2" }
[inputs]
keys = { machine = "stage-left", device = "FOLDER/keys" }
[outputs]
strings = { machine = "stage-left", device = "FOLDER/strings", wire = "din" }
[[scenes]]
name = "One"
number = 1
burst = [ { output = "strings", channel = 1, bank = [1, 2], program = 3 } ]
routes = [ { from = "keys", to = "strings" } ]
[[scenes]]
name = "Two"
number = 2
routes = [ { from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 12 } ] } ]
burst = [ { output = "strings", channel = 1, bank = [1, 2], program = 4 } ]
"""
BURST, SECOND = bytes.fromhex("B0 00 01 B0 20 02 C0 02"), bytes.fromhex("B0 00 01 B0 20 02 C0 03")


class Pit:
    """A folder with the rig and two FIFOs, and the processes started there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        text = RIG.replace("FOLDER", str(folder))
        with socket.socket() as one, socket.socket() as other:  # ports that nothing else uses
            for place, each in enumerate((one, other), start=1):
                each.bind(("127.0.0.1", 0))
                text = text.replace(f"PORT{place}", str(each.getsockname()[1]))
        self.rig = folder / "rig.toml"
        self.rig.write_text(text)
        for name in ("keys", "strings"):
            os.mkfifo(folder / name)
        self.keys, self.strings = (os.open(folder / name, os.O_RDWR | os.O_NONBLOCK) for name in ("keys", "strings"))
        self.processes: list[subprocess.Popen[bytes]] = []

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        """Start a command that keeps running."""
        command = [str(BAYLEAF), *arguments, "--backend", "memory"]
        with (self.folder / f"said-{len(self.processes)}").open("wb") as said:
            self.processes.append(subprocess.Popen(command, env=self.environment, stderr=said))
        return self.processes[-1]

    def lend(self) -> subprocess.Popen[bytes]:
        """Start the machine that lends."""
        return self.start("lend", str(self.rig), "--machine", "stage-left")

    def run(self) -> subprocess.Popen[bytes]:
        """Start the engine."""
        return self.start("run", str(self.rig))

    def bayleaf(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command that ends by itself."""
        return completed(self.environment, self.folder, *arguments)

    def play(self, *messages: str) -> None:
        """Play these bytes on the keyboard."""
        os.write(self.keys, bytes.fromhex("".join(messages)))

    def heard(self, ends: bytes) -> bytes:
        """What came down the cable, read until it ends with these bytes."""
        return read_until(self.strings, ends)

    def said(self) -> str:
        """What the processes printed for the player."""
        return "\n".join(each.read_text() for each in sorted(self.folder.glob("said-*")))

    def close(self) -> None:
        """End all processes that are still running."""
        for process in self.processes:
            process.kill()
            process.wait()
        os.close(self.keys)
        os.close(self.strings)


@pytest.fixture
def pit(tmp_path: Path) -> Iterator[Pit]:
    made = Pit(tmp_path)
    yield made
    made.close()


def test_a_show_over_two_machines(pit: Pit) -> None:
    """Whichever starts first, notes and bursts cross over; a held note outlives a scene change and gets its own
    release.

    When the machine that lends is stopped it ends with status 0.
    """
    box = pit.lend()
    pit.run()
    heard = pit.heard(BURST)
    pit.play("90 3C 64")
    # on a machine so busy that the link is lost for a moment, its release may have followed by now
    heard += read_past(pit.strings, bytes.fromhex("90 3C 64"))
    assert pit.bayleaf("scene", "2").returncode == 0
    heard += pit.heard(SECOND)
    pit.play("90 3E 64", "80 3E 40", "80 3C 40", "B0 07 01")
    heard += pit.heard(bytes.fromhex("B0 07 01"))
    receiver = Receiver()
    for message in StreamParser().feed(heard):
        receiver.hear(message)
    assert receiver.held == 0
    assert bytes.fromhex("90 4A 64") in receiver.log
    box.send_signal(signal.SIGTERM)
    assert box.wait(DEADLINE) == 0


def test_an_engine_that_is_killed_leaves_nothing_sounding(pit: Pit) -> None:
    """After kill -9 in the middle of a note, the machine with the cable releases it, and the engine may come back."""
    pit.lend()
    engine = pit.run()
    assert pit.heard(BURST)
    pit.play("90 3C 64", "B0 40 7F")
    assert pit.heard(bytes.fromhex("B0 40 7F"))
    engine.kill()
    engine.wait()
    assert bytes.fromhex("80 3C 40") in pit.heard(bytes.fromhex("B0 40 00"))
    pit.run()
    assert pit.heard(BURST)
    pit.play("90 3E 64")
    assert pit.heard(bytes.fromhex("90 3E 64"))


def test_a_machine_that_comes_back_gets_the_scene(pit: Pit) -> None:
    """When the machine that lends dies and is started again, it gets the scene's sounds, and plays."""
    box = pit.lend()
    pit.run()
    assert pit.heard(BURST)
    box.kill()
    box.wait()
    pit.lend()
    assert pit.heard(BURST)
    pit.play("90 3C 64")
    assert pit.heard(bytes.fromhex("90 3C 64"))


def test_what_cannot_be_lent_is_said(pit: Pit) -> None:
    """A rig of one machine, an engine's own name, or an unknown machine gives status 1 and names the remedy."""
    for machine, words in (("desk", "desk is an engine of this rig"), ("attic", 'there is no machine "attic"')):
        done = pit.bayleaf("lend", str(pit.rig), "--machine", machine)
        assert (done.returncode, words in done.stderr) == (1, True), done.stderr
    plain = pit.folder / "plain.toml"
    plain.write_text('format = 1\n[[scenes]]\nnumber = 1\nname = "One"\n')
    done = pit.bayleaf("lend", str(plain))
    assert (done.returncode, "has no [network]" in done.stderr) == (1, True), done.stderr
