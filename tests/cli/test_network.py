"""`bayleaf network keys`, and that a rig of one machine loads nothing of the network. (Our own design; no source.)"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.bayleaf_command import completed

pytestmark = pytest.mark.slow

RIG = """\
format = 1
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "192.168.10.2:7410" }
stage-left = { listen = "192.168.10.11:7410" }
[[scenes]]
number = 1
name = "One"
"""


def bayleaf(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command."""
    return completed({}, Path.cwd(), *arguments)


def test_keys_are_made_and_reported(tmp_path: Path) -> None:
    """`network keys` makes a folder for each machine and says where it goes; run again, it says that all are valid."""
    rig = tmp_path / "pit.toml"
    rig.write_text(RIG)
    said = bayleaf("network", "keys", str(rig))
    assert said.returncode == 0
    assert "Copy each machine's own folder, and no other, into pit.keys" in said.stdout
    assert {each.name for each in (tmp_path / "pit.keys" / "desk").iterdir()} == {
        "authority.pem",
        "desk.pem",
        "desk.key",
    }
    again = json.loads(bayleaf("network", "keys", str(rig), "--json").stdout)
    assert [(each["machine"], each["new"]) for each in again] == [("desk", False), ("stage-left", False)]
    renewed = json.loads(bayleaf("network", "keys", str(rig), "--json", "--renew").stdout)
    assert [each["new"] for each in renewed] == [True, True]


def test_what_is_in_the_way_is_reported(tmp_path: Path) -> None:
    """A rig without [network], or a folder that cannot be made, gives one sentence and status 1."""
    rig = tmp_path / "pit.toml"
    rig.write_text('format = 1\n[[scenes]]\nnumber = 1\nname = "One"\n')
    said = bayleaf("network", "keys", str(rig))
    assert (said.returncode, said.stderr.count("\n")) == (1, 1)
    assert "has no [network], so no machine needs a certificate" in said.stderr
    rig.write_text(RIG)
    (tmp_path / "pit.keys").write_text("in the way")
    said = bayleaf("network", "keys", str(rig))
    assert (said.returncode, said.stderr.count("\n")) == (1, 1)
    assert "the certificates cannot be written: " in said.stderr


def test_machines_on_one_computer_need_none(tmp_path: Path) -> None:
    """For machines on the loopback the command says that they need no certificates."""
    rig = tmp_path / "pit.toml"
    rig.write_text(RIG.replace("192.168.10", "127.0.0"))
    assert "need no certificates" in bayleaf("network", "keys", str(rig)).stdout


def test_one_machine_loads_no_network() -> None:
    """The command and the engine load neither zenoh nor cryptography until a rig with [network] starts."""
    look = (
        "import sys, engine.cli.app, engine.live.process.engine_process\n"
        "sys.exit(', '.join({'zenoh', 'cryptography'} & {each.partition('.')[0] for each in sys.modules}) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_machine_that_lends_does_not_play(tmp_path: Path) -> None:
    """`run` on a machine that is neither the main one nor the standby is rejected, with the command to type instead."""
    rig = tmp_path / "pit.toml"
    rig.write_text(RIG)
    said = bayleaf("run", str(rig), "--machine", "stage-left", "--backend", "memory")
    assert (said.returncode, said.stderr.count("\n")) == (1, 1)
    assert (
        f"stage-left is not an engine of this rig but lends its ports; start it with: bayleaf lend {rig}" in said.stderr
    )
