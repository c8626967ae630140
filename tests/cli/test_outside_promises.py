"""What users may rely on, tried from outside: the rig file, the commands, the cables, as README describes them."""

import json
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.engine_on_fifos import EngineOnFifos
from tests.support.waiting import until

pytestmark = pytest.mark.slow

WHOLE = """
format = 1
[rig]
name = "Lantern Street pit band"
start = "last"
[inputs]
keys = { device = "KEYS" }
desk = { port = "Desk*" }
[outputs]
strings = { device = "STRINGS", wire = "din" }
drums = { port = "Eight-way box*2", wire = "fast" }
[instruments.string-machine]
output = "strings"
channel = 5
bank = "msb lsb"
settle = "30 ms"
sounds = { "Warm pad" = { bank = [0, 3], program = 12 } }
[[routes]]
name = "always"
from = "keys"
to = ["drums"]
[[scenes]]
number = 11
name = "Overture"
at = "00:01:10:00"
routes = [ { from = "keys", to = ["strings", "drums"], through = [
  { filter = "channels", keep = [1] },
  { filter = "transpose", semitones = -12 },
] } ]
burst = [
  { instrument = "string-machine", sound = "Warm pad" },
  { output = "strings", channel = 10, bank = [1, 0], program = 88 },
  { output = "strings", channel = 11, program = 1 },
]
[[scenes]]
number = 12
name = "Finale"
[[setlists]]
name = "Friday"
scenes = [11, "Finale"]
[[controls]]
input = "keys"
when = { program = "any" }
do = "scene"
guard = "250 ms"
[[controls]]
input = "keys"
when = { song = "any" }
do = "scene"
[[controls]]
input = "keys"
when = { controller = 64, at_least = 64 }
do = "scene"
scene = 12
[[controls]]
input = "keys"
when = { sysex = "F0 7D 01 F7" }
do = "resend"
[sync.clock]
from = "internal"
bpm = 120
to = ["drums"]
run = true
[sync.timecode]
from = "internal"
rate = "29.97 drop"
start = "01:00:00;00"
to = ["drums"]
run = true
[remote]
inputs = ["desk"]
device = 5
"""
# bank MSB and LSB as the instrument takes them, then the program (MIDI 1.0 Detailed Specification 4.2.1 p. 13);
# a step for an output sends both, and without a bank the program alone
BURST = bytes.fromhex("B4 00 00 B4 20 03 C4 0B B9 00 01 B9 20 00 C9 57 CA 00")


@pytest.fixture
def running(tmp_path: Path) -> Iterator[EngineOnFifos]:
    made = EngineOnFifos(tmp_path)
    made.rig.write_text(WHOLE.replace("KEYS", str(tmp_path / "KEYS")).replace("STRINGS", str(tmp_path / "STRINGS")))
    yield made
    made.close()


def until_scene(running: EngineOnFifos, number: int, name: str) -> None:
    until(f"scene {number}", lambda: running.scene() == {"number": number, "name": name})


def test_check_costs_the_whole_rig(running: EngineOnFifos) -> None:
    """For a rig file with every section, `check` prints the burst's bytes and time on the cable (3,125 per second)."""
    said = running.bayleaf("check", str(running.rig), "--json")
    assert (said.returncode, said.stderr) == (0, "")
    (row,) = json.loads(said.stdout)["bursts"]
    assert (row["number"], row["output"], row["bytes"]) == (11, "strings", len(BURST))
    assert row["wire_ms"] == pytest.approx(len(BURST) / 3.125)


def test_each_command_from_the_cable(running: EngineOnFifos) -> None:
    """The printed program or song selects the scene of that number; a condition without a number names its scene;
    neither a command, nor a pedal below its threshold, nor a sound that is in force already reaches an output."""
    running.start()
    assert running.heard(BURST) == BURST
    for message, number, name in (
        ("C0 0B", 12, "Finale"),
        ("F3 0A", 11, "Overture"),
        ("B0 40 20 B0 40 7F", 12, "Finale"),
        ("C0 0A", 11, "Overture"),
    ):
        os.write(running.keys, bytes.fromhex(message))
        until_scene(running, number, name)
    os.write(running.keys, bytes.fromhex("C0 62 90 3C 40"))  # the rig has no scene 99
    assert running.heard(bytes.fromhex("90 30 40")) == bytes.fromhex("90 30 40")
    assert running.scene() == {"number": 11, "name": "Overture"}
    os.write(running.keys, bytes.fromhex("F0 7D 01 F7"))
    assert running.heard(BURST) == BURST


@pytest.mark.parametrize(
    ("options", "backend"), [((), None), (("--virtual",), "memory")], ids=["no backend named", "virtual"]
)
def test_byte_devices_stay_byte_devices(running: EngineOnFifos, options: tuple[str, ...], backend: str | None) -> None:
    """A rig of byte devices plays without a backend, whether the system has MIDI ports or not, and with --virtual."""
    devices = WHOLE.replace('port = "Desk*"', 'device = "/dev/no-such-desk"')
    devices = devices.replace('port = "Eight-way box*2"', 'device = "/dev/no-such-box"')
    folder = str(running.folder)
    running.rig.write_text(devices.replace("KEYS", f"{folder}/KEYS").replace("STRINGS", f"{folder}/STRINGS"))
    running.start(*options, backend=backend)
    assert running.heard(BURST) == BURST
    os.write(running.keys, bytes.fromhex("90 3C 40"))
    assert running.heard(bytes.fromhex("90 30 40")) == bytes.fromhex("90 30 40")


def test_a_refused_file_is_in_the_status(running: EngineOnFifos) -> None:
    """A rig file edited while it plays is adopted; a faulty one is rejected, and `status` shows line and key."""
    running.start()
    good = running.rig.read_text()
    running.rig.write_text(good.replace('name = "Overture"', 'name = "Prelude"'))
    until_scene(running, 11, "Prelude")
    running.rig.write_text(good.replace("channel = 5", "channel = 50"))
    refused = until("the refusal", lambda: json.loads(running.bayleaf("status", "--json").stdout)["refused_rig"])
    assert f"{running.rig}:14: instruments.string-machine.channel: found 50; allowed: 1 to 16" in refused
    assert running.scene() == {"number": 11, "name": "Prelude"}
