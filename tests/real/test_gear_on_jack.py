"""Dumps over real JACK ports, with an instrument written from the standards on python-rtmidi alone.

BAYLEAF_DUMPS says how many dumps of 1 byte to 1 MB are sent each way. Sources: MIDI 1.0 Detailed Specification 4.2.1
p. 5 (real time inside SysEx), p. 40 (inquiry); .syx: common practice, no source.
"""

import hashlib
import json
import os
import random
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import mido
import pytest
import rtmidi

from tests.support.engine_process import Engine, engine, joined
from tests.support.paths import BAYLEAF
from tests.support.simulated_instrument import IDENTITY, REQUEST, Instrument
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK
DUMPS = int(os.environ.get("BAYLEAF_DUMPS", "6"))
LONGEST = 8000  # bytes of a message; JACK's ports reliably carry no more than 10,000
RIG = """
format = 1
[rig]
start = 1
[inputs]
organ = { port = "Organ" }
[outputs]
organ = { port = "Organ" }
slow = { port = "Slow box", wire = "din" }
[[scenes]]
number = 1
name = "Overture"
[sync.clock]
from = "internal"
bpm = 120
run = true
to = ["organ", "slow"]
"""


def dump_of(size: int, seed: int) -> list[bytes]:
    """Messages with `size` data bytes in total."""
    chance = random.Random(seed)
    data = bytes(chance.choices(range(128), k=size))
    longest = chance.randint(max(1, min(LONGEST, size // 200)), LONGEST)
    return [b"\xf0" + data[at : at + longest] + b"\xf7" for at in range(0, size, longest)]


def sizes() -> list[int]:
    """From 1 byte to 1 MB, evenly spaced in octaves."""
    return [round(10 ** (6 * step / max(1, DUMPS - 1))) for step in range(DUMPS)]


def sha256(messages: list[bytes]) -> str:
    return hashlib.sha256(b"".join(messages)).hexdigest()


class Organ:
    """The instrument on real ports, in a thread of its own; `heard` is every SysEx that came."""

    def __init__(self, into: Any, out: Any) -> None:
        self.model = Instrument(swallow_ns=0)
        self.heard: list[bytes] = []
        self.clocks = 0
        self._into, self._out = into, out
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def play(self, messages: list[bytes]) -> None:
        """Send these from its memory at some 200 KB per second, with a clock between the messages."""
        for message in messages:
            self._out.send_message(b"\xf8")
            self._out.send_message(message)
            time.sleep(max(0.0002, len(message) / 200_000))

    def has_heard(self, count: int) -> bool:
        """Whether `count` SysEx messages have arrived."""
        return len(self.heard) >= count

    def has_counted(self, clocks: int) -> bool:
        """Whether this many clocks have arrived."""
        return self.clocks >= clocks

    def end(self) -> None:
        self._ends.set()
        self._thread.join()

    def _live(self) -> None:
        while not self._ends.is_set():
            event = self._into.get_message()
            if event is None:
                time.sleep(0.0005)
                continue
            message = bytes(event[0])
            if message[0] == 0xF0:
                self.heard.append(message)
            self.clocks += message == b"\xf8"
            self.play(self.model.hear(time.monotonic_ns(), message))


@pytest.fixture
def pit(jack_server: str, tmp_path: Path) -> Iterator[tuple[Engine, Organ]]:
    """The engine's ports are virtual; the organ's are connected to them."""
    with (
        engine(tmp_path, RIG, "--virtual", "--backend", "jack") as running,
        joined(
            rtmidi.MidiIn,
            JACK,
            "organ ear",
            lambda name: "pit" in name and name.endswith("organ"),
        ) as ear,
        joined(rtmidi.MidiOut, JACK, "organ hand", lambda name: "pit" in name and name.endswith("organ")) as hand,
    ):
        organ = Organ(ear, hand)
        try:
            yield running, organ
        finally:
            organ.end()


def test_dumps_are_sent_whole_with_real_time_inside(pit: tuple[Engine, Organ], tmp_path: Path) -> None:
    """Dumps of 1 byte to 1 MB, in files written by mido, arrive with equal SHA-256 while the clock goes on."""
    running, organ = pit
    for seed, size in enumerate(sizes()):
        messages, file = dump_of(size, seed), tmp_path / f"{seed}.syx"
        mido.write_syx_file(str(file), [mido.Message.from_bytes(message) for message in messages])
        organ.heard.clear()
        clocks = organ.clocks
        done = running.ask("sysex", "send", str(file), "organ")
        assert done.returncode == 0, done.stderr
        until(f"{len(messages)} messages", partial(organ.has_heard, len(messages)))
        assert sha256(organ.heard) == sha256(messages), size
        until("a clock", partial(organ.has_counted, clocks + 1))


def test_dumps_are_received_whole_with_real_time_inside(pit: tuple[Engine, Organ], tmp_path: Path) -> None:
    """Requested dumps arrive with equal SHA-256, without the clocks between; mido reads the file; the note agrees."""
    running, organ = pit
    for seed, size in enumerate(sizes()):
        organ.model.memory = dump_of(size, seed)
        file = tmp_path / f"{seed}.syx"
        done = running.ask(
            "sysex", "receive", "organ", str(file), "--request", REQUEST.hex(), "--output", "organ", "--silence", "0.5"
        )
        assert done.returncode == 0, done.stderr
        wanted = sha256(organ.model.memory)
        assert hashlib.sha256(file.read_bytes()).hexdigest() == wanted, size
        assert [bytes(each.bytes()) for each in mido.read_syx_file(str(file))] == organ.model.memory
        note = json.loads(Path(f"{file}.json").read_text(encoding="utf-8"))
        assert (note["sha256"], note["port"], note["messages"]) == (wanted, "organ", len(organ.model.memory))


def test_who_is_there_and_what_it_remembers(pit: tuple[Engine, Organ], tmp_path: Path) -> None:
    """identify; verify, equal and changed; compare; a file that already exists; an instrument that does not answer."""
    running, organ = pit
    done = running.ask("sysex", "identify", "--json")
    rows = {row["output"]: row for row in json.loads(done.stdout)}
    assert (rows["organ"]["input"], rows["organ"]["text"]) == ("organ", "one device")
    assert rows["organ"]["identity"]["version"] == IDENTITY[12:16].hex(" ").upper()
    assert rows["slow"]["text"] == "no answer"
    messages, file = dump_of(3000, 1), tmp_path / "one.syx"
    file.write_bytes(b"".join(messages))
    organ.model.memory = messages
    verify = ("sysex", "verify", str(file), "organ", "organ", "--request", REQUEST.hex(), "--keep", "organ")
    done = running.ask(*verify, "--silence", "0.5")
    assert (done.returncode, "the instrument returned exactly what was sent" in done.stdout) == (0, True), done.stderr
    organ.model.memory = [messages[0][:1] + bytes((messages[0][1] ^ 1,)) + messages[0][2:], *messages[1:]]
    done = running.ask(*verify, "--silence", "0.5")
    assert done.returncode == 1
    assert done.stdout.startswith("message 1: byte 2 was")
    kept = sorted((tmp_path / "state" / "bayleaf" / "dumps" / "organ").glob("*.syx"))
    assert [each.name for each in kept] == ["0001.syx", "0002.syx"]
    assert [running.bayleaf("sysex", "compare", str(file), str(each)).returncode for each in kept] == [0, 1]
    assert running.bayleaf("sysex", "compare", str(file), str(tmp_path / "none.syx")).returncode == 2
    done = running.ask("sysex", "receive", "organ", str(file))
    assert (done.returncode, "already exists" in done.stderr) == (1, True)
    done = running.ask("sysex", "receive", "organ", str(tmp_path / "new.syx"), "--wait", "1")
    assert (done.returncode, "nothing came from organ" in done.stderr) == (1, True)
    assert not (tmp_path / "new.syx").exists()


def test_ctrl_c_stops_between_two_messages(pit: tuple[Engine, Organ], tmp_path: Path) -> None:
    """It exits with status 1 and says with which message to continue."""
    running, _ = pit
    file = tmp_path / "long.syx"
    file.write_bytes(b"".join(b"\xf0" + bytes(300) + b"\xf7" for _ in range(500)))
    command = [str(BAYLEAF), "sysex", "send", str(file), "slow", "--name", running.name]
    with subprocess.Popen(command, env=running.environment, stderr=subprocess.PIPE, text=True) as sender:
        until("the dump on its way", lambda: _octets(running) > 1000)
        sender.send_signal(signal.SIGINT)
        _, said = sender.communicate(timeout=30)
    assert sender.returncode == 1
    assert "stopped" in said
    assert "Go on with: --from" in said


def _octets(running: Engine) -> int:
    status = running.request("status")
    assert status is not None
    return int(next(each["bytes"] for each in status["status"]["outputs"] if each["name"] == "slow"))
