"""Every remote path, driven from outside over real JACK ports and sockets by python-rtmidi, mido and python-osc.

Sources: MIDI 1.0 Detailed Specification 4.2.1; MIDI Show Control 1.1.1, RP-002/014; MIDI Machine Control 1.0, RP-013;
OSC 1.0. Our own SysEx is written out here byte by byte as DEVELOPERS.md has it, not by Bayleaf's own code.
"""

import json
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import mido
import pytest
import rtmidi
from pythonosc.osc_message import OscMessage
from pythonosc.udp_client import SimpleUDPClient

from tests.support.engine_process import Engine, engine, hear, joined
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK
HERE = "127.0.0.1"
RIG = """
format = 1
[rig]
start = 1
[inputs]
desk = { port = "Desk" }
[outputs]
answers = { port = "Recorder" }
[[scenes]]
number = 1
name = "Overture"
routes = [ { from = "desk", to = "answers", name = "thru" } ]
[[scenes]]
number = 61
name = "Finale"
[[scenes]]
number = 300
name = "Encore"
[sync.timecode]
from = "internal"
rate = "30"
start = "00:00:00:00"
to = ["answers"]
[remote]
inputs = ["desk"]
device = 5
programs = true
to = ["answers"]
restore = true
[osc]
port = PORT
"""
#: a mido script that plays a .syx file on a JACK port, as a player of such files would
PLAYER = """
import sys, time, mido
jack = mido.Backend("mido.backends.rtmidi/UNIX_JACK")
(desk,) = [name for name in jack.get_output_names() if "pit" in name and name.endswith("desk")]
with jack.open_output(desk) as port:
    for message in mido.read_syx_file(sys.argv[1]):
        port.send(message)
        time.sleep(0.05)
    time.sleep(1)  # until the driver has sent all: nothing says so
"""


def free_port() -> int:
    """A free UDP port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((HERE, 0))
        return int(probe.getsockname()[1])


def ours(command: int, *data: int) -> bytes:
    """One message of Bayleaf's own SysEx for device 5, by the table in DEVELOPERS.md."""
    body = (0x01, 0x05, command, *data)
    return bytes((0xF0, 0x7D, 0x62, 0x6C, *body, -sum(body) % 128, 0xF7))


class EngineAndDesk:
    """A running engine, a desk that plays to it, and a listener for its answers."""

    def __init__(self, running: Engine, desk: Any, answers: Any, port: int) -> None:
        self.engine, self.desk, self.answers, self.port = running, desk, answers, port

    def play(self, *messages: str | bytes) -> None:
        """Play from the desk, in this order."""
        for message in messages:
            self.desk.send_message(bytes.fromhex(message) if isinstance(message, str) else message)

    def status(self) -> dict[str, Any]:
        """The engine's status, asked on the socket, since each command is a process."""
        answer = self.engine.request("status")
        assert answer is not None
        found: dict[str, Any] = answer["status"]
        return found

    def until(self, what: str, there: Callable[[dict[str, Any]], Any]) -> None:
        """Wait until the status says so."""
        until(what, lambda: there(self.status()))

    def until_scene(self, number: int) -> None:
        """Wait until this is the current scene."""
        self.until(f"scene {number}", lambda status: status["scene"]["number"] == number)


@pytest.fixture
def pit(jack_server: str, tmp_path: Path) -> Iterator[EngineAndDesk]:
    """Real ports of JACK: the engine's are virtual, ours are connected to them."""
    port = free_port()
    with (
        engine(tmp_path, RIG.replace("PORT", str(port)), "--virtual", "--backend", "jack") as running,
        joined(rtmidi.MidiIn, JACK, "ear", lambda name: "pit" in name and name.endswith("answers")) as answers,
        joined(rtmidi.MidiOut, JACK, "desk", lambda name: "pit" in name and name.endswith("desk")) as desk,
    ):
        yield EngineAndDesk(running, desk, answers, port)


def test_program_with_bank(pit: EngineAndDesk) -> None:
    """Bank 0 2 and program 44, as printed, recall scene 300 (MIDI 1.0 p. 13, 14)."""
    pit.play("B0 00 00", "B0 20 02", "C0 2B")
    pit.until_scene(300)


def test_song_select(pit: EngineAndDesk) -> None:
    """Song 60 in the bytes recalls scene 61 (counted from 1: common practice, no source)."""
    pit.play("F3 3C")
    pit.until_scene(61)


def test_show_control(pit: EngineAndDesk) -> None:
    """GO of cue 61 for our id recalls it, GO alone for all is next; a cue for machinery does nothing (RP-002 4)."""
    pit.play("F0 7F 05 02 20 01 33 30 30 F7", "F0 7F 05 02 01 01 36 31 F7")
    pit.until_scene(61)
    pit.play("F0 7F 7F 02 01 01 F7")
    pit.until_scene(300)


def test_machine_control(pit: EngineAndDesk) -> None:
    """LOCATE winds our time code to a place, PLAY starts it, STOP halts it (RP-013)."""

    def at(status: dict[str, Any]) -> str:
        return json.dumps(status)

    pit.play("F0 7F 05 06 44 06 01 61 02 03 04 00 F7")
    pit.until("the place", lambda status: "01:02:03:04" in at(status))
    pit.play("F0 7F 7F 06 02 F7")
    pit.until("time code that runs", lambda status: "01:02:03:04" not in at(status) and "01:02:" in at(status))
    pit.play("F0 7F 7F 06 01 F7")
    until("time code that stands", lambda: pit.status()["timecode"] == pit.status()["timecode"])


def test_our_own_sysex(pit: EngineAndDesk) -> None:
    """Recall and the question for the scene are answered at the output for answers, byte for byte as documented."""
    pit.play(ours(0x01, 61, 0, 0))
    (answer,) = hear(pit.answers, 1)
    assert answer.startswith(bytes.fromhex("F0 7D 62 6C 01 05 41 01 01"))
    pit.play(ours(0x05))
    # "Finale" is six bytes without a high bit: a 00 and the bytes themselves (MIDI 1.0 p. 43)
    assert hear(pit.answers, 1) == [ours(0x45, 61, 0, 0, 0x00, *b"Finale")]
    pit.until_scene(61)


def test_what_is_not_in_order_passes(pit: EngineAndDesk) -> None:
    """A damaged message of our own and foreign SysEx are not commands, and pass like any SysEx."""
    damaged = ours(0x01, 61, 0, 0)[:-2] + b"\x00\xf7"
    foreign = bytes.fromhex("F0 7D 01 02 03 F7")
    pit.play(damaged, foreign)
    assert hear(pit.answers, 2) == [damaged, foreign]
    assert pit.status()["scene"]["number"] == 1


def test_a_backup_over_real_ports_and_back(pit: EngineAndDesk, tmp_path: Path) -> None:
    """On request the rig comes as a dump; mido keeps it as a .syx file; sent back by a player, it is loaded again."""
    heard: list[bytes] = []
    listener = threading.Thread(target=lambda: heard.extend(hear(pit.answers, 1)))
    listener.start()
    pit.play(ours(0x08))
    listener.join()
    assert heard
    assert all(block.startswith(bytes.fromhex("F0 7D 62 6C 01 05 0A")) for block in heard)
    file = tmp_path / "pit.syx"
    mido.write_syx_file(str(file), [mido.Message.from_bytes(block) for block in heard])
    done = pit.engine.ask("scenes", "rename", "61", "Changed")
    assert done.returncode == 0, done.stderr
    subprocess.run([sys.executable, "-c", PLAYER, str(file)], check=True, timeout=60)
    until("the old name", lambda: '"Finale"' in pit.engine.ask("scenes", "list", "--json").stdout)
    done = pit.engine.ask("save")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "rig.toml").read_text(encoding="utf-8") == RIG.replace("PORT", str(pit.port))


def test_osc(pit: EngineAndDesk) -> None:
    """python-osc recalls, steps, mutes and asks; each answer comes back to the socket that asked."""

    def ask(client: SimpleUDPClient, address: str, *values: object) -> list[object]:
        client.send_message(address, list(values))
        while True:
            reply = OscMessage(client.receive(20))
            if reply.address == "/bayleaf/now":
                return reply.params

    client = SimpleUDPClient(HERE, pit.port)
    with client:
        assert ask(client, "/bayleaf/state") == [1, "Overture"]
        assert ask(client, "/bayleaf/scene", 300) == [300, "Encore"]
        assert ask(client, "/bayleaf/back") == [61, "Finale"]
        assert ask(client, "/bayleaf/scene", "Overture") == [1, "Overture"]
        ask(client, "/bayleaf/mute", "thru")
        pit.play("90 3C 40", ours(0x05))
        assert hear(pit.answers, 1) == [ours(0x45, 1, 0, 0, 0x00, *b"Overtur", 0x00, *b"e")]
        assert ask(client, "/bayleaf/unmute", "thru") == [1, "Overture"]
        pit.play("90 3C 40")
        assert hear(pit.answers, 1) == [b"\x90\x3c\x40"]
        assert ask(client, "/bayleaf/panic") == [1, "Overture"]
        assert b"\x80\x3c\x40" in hear(pit.answers, 1)
