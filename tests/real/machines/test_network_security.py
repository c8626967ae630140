"""Without the right certificate a machine sees and does nothing: real links between namespaces, and intrusions.

The rules are our own (`engine.cluster.link.access`). QUIC is TLS 1.3 over UDP (RFC 9001); certificates are checked on
both sides (RFC 8446 4.4.2).
"""

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import pytest

from engine.cluster.link.certificate_authority import make_keys
from engine.cluster.link.keyring import folder_of
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import LinkSettings
from engine.cluster.link.settings import settings_of
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.link_on_machine import FarMachine
from tests.support.needed import need_machines
from tests.support.network_namespaces import NamespaceNetwork
from tests.support.paths import process_of
from tests.support.waiting import until

MACHINES: Final = ("desk", "spare", "stage-left")
_QUIET: Final = 0.7  # seconds in which something would have come: more than twice the lease


class FourMachines:
    """Three machines of a rig and a fourth that does not belong to it, with everything for their links."""

    def __init__(self, net: NamespaceNetwork, folder: Path) -> None:
        self.net = net
        self.file = folder / "pit.toml"
        listens = "".join(f'{name} = {{ listen = "{net.address(name)}:7410" }}\n' for name in MACHINES)
        head = 'format = 1\n[network]\nmachine = "desk"\nmain = "desk"\nstandby = "spare"\n[network.machines]\n'
        self.text = head + listens + '[[scenes]]\nnumber = 1\nname = "One"\n'
        self.rig = read(self.text, str(self.file))
        self.keys = NetworkKeys(self.rig.rig.name)
        self.file.write_text(self.text)
        self.make_keys(self.rig, folder)
        self.machines: list[FarMachine] = []

    def make_keys(self, rig: Rig, folder: Path) -> None:
        """Make keys as `bayleaf network keys` does."""
        assert rig.network is not None
        make_keys(rig.rig.name, rig.network, folder_of(rig.network, folder / "pit.toml"))

    def settings(self, machine: str) -> LinkSettings:
        """A machine's settings, as its rig gives them."""
        return settings_of(self.rig.on(machine), self.file)

    def join(self, where: str, settings: LinkSettings) -> FarMachine:
        """Run a link on a machine."""
        self.machines.append(FarMachine(self.net, where, settings))
        return self.machines[-1]

    def all(self) -> list[FarMachine]:
        """The rig's own machines, which see each other."""
        made = [self.join(name, self.settings(name)) for name in MACHINES]
        for name, machine in zip(MACHINES, made, strict=True):
            machine.do("watch", f"{self.keys.root}/alive/*")
            machine.do("alive", self.keys.alive(name))
        until("what was said to be heard", lambda: all(len(machine.seen) == len(MACHINES) - 1 for machine in made))
        return made


@pytest.fixture
def pit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FourMachines]:
    """Four machines on a switch."""
    need_machines()
    with NamespaceNetwork([*MACHINES, "guest"]) as net:
        made = FourMachines(net, tmp_path)
        yield made
        for machine in made.machines:
            machine.close()


def changed(settings: LinkSettings, change: Callable[[dict[str, Any]], None]) -> LinkSettings:
    """Settings with a change that an intruder makes."""
    config = json.loads(settings.config)
    change(config)
    return replace(settings, config=json.dumps(config))


def test_only_the_address_of_the_rig_is_open(pit: FourMachines) -> None:
    """With certificates, only the rig's own UDP port is open; machines that dial have sockets for dialling."""
    pit.all()
    assert pit.net.listening("desk") == [f"udp {pit.net.address('desk')}:7410"]
    for name in MACHINES:
        open_ = pit.net.listening(name)
        assert f"udp {pit.net.address(name)}:7410" in open_
        assert not [each for each in open_ if each.startswith("tcp") or "224.0.0.224" in each]


def test_who_looks_for_machines_finds_those_that_want_to_be_found(pit: FourMachines) -> None:
    """`network find` lists the addresses of machines whose rig says `discover = true`, and of no others; being found
    does not create a link."""
    pit.join("stage-left", pit.settings("stage-left"))
    pit.rig = read(pit.text.replace("[network.machines]", "discover = true\n[network.machines]"), str(pit.file))
    pit.join("desk", pit.settings("desk"))
    look = [sys.executable, "-m", "engine.cli", "network", "find", str(pit.file), "--seconds", "2", "--json"]
    done = subprocess.run(pit.net.command("guest", *look), capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == [{"address": f"{pit.net.address('desk')}:7410", "machine": "desk"}]


def intruder(pit: FourMachines, how: str, tmp_path: Path) -> LinkSettings:
    """What an intruder on the same net, who knows the rig file, may try."""
    assert pit.rig.network is not None
    desk = f"{pit.net.address('desk')}:7410"
    at_guest = pit.text.replace(desk, f"{pit.net.address('guest')}:7410")
    other = read(at_guest, str(tmp_path / "pit.toml"))
    pit.make_keys(other, tmp_path)  # an authority of its own, with our names
    settings = settings_of(other, tmp_path / "pit.toml")

    def no_certificate(config: dict[str, Any]) -> None:
        config["transport"]["link"]["tls"] = {
            "root_ca_certificate": str(pit.file.with_name("pit.keys") / "authority.pem")
        }
        config["listen"]["endpoints"] = []

    def plain(config: dict[str, Any]) -> None:
        del config["transport"]["link"]["tls"]
        config["transport"]["link"]["protocols"] = ["tcp", "udp"]
        config["listen"]["endpoints"] = []

    def dials_all(config: dict[str, Any]) -> None:
        proto = "tcp" if how == "plain" else "quic"
        config["connect"]["endpoints"] = [f"{proto}/{pit.net.address(name)}:7410" for name in MACHINES]
        config.pop("access_control", None)  # it lets everything through

    changes = {"no certificate": no_certificate, "plain": plain, "another authority": lambda config: None}
    return changed(changed(settings, changes[how]), dials_all)


@pytest.mark.parametrize("how", ["no certificate", "plain", "another authority"])
def test_who_has_no_certificate_of_the_rig_is_not_there(pit: FourMachines, how: str, tmp_path: Path) -> None:
    """Without a certificate, with plain TCP and UDP, and with another authority's certificates in our names: no link.
    The intruder sees no token, receives no note, gets no answer, and nothing it sends arrives."""
    desk, _, left = pit.all()
    guest = pit.join("guest", intruder(pit, how, tmp_path / "guest"))
    assert guest.fault is None
    everything = f"{pit.keys.root}/**"
    guest.do("watch", everything)
    guest.do("subscribe", everything)
    left.do("subscribe", pit.keys.outputs("stage-left"))
    left.do("answer", pit.keys.claim("stage-left"), "granted")
    guest.do("alive", pit.keys.alive("desk"))
    deadline = time.monotonic() + _QUIET
    while time.monotonic() < deadline:
        guest.do("publish", pit.keys.output("stage-left", "strings"), "90 3C 40")
        desk.do("publish", pit.keys.input("desk", "keys"), "90 3C 40")
        assert guest.do("ask", pit.keys.claim("stage-left"), "guest") == []
    assert (guest.seen, guest.heard) == ([], [])
    assert (left.heard, left.asked) == ([], [])
    there = {key for key, _ in left.seen}  # a busy machine may lose sight of one for a moment
    assert there == {pit.keys.alive(name) for name in MACHINES if name != "stage-left"}


@pytest.mark.parametrize("named", [True, False])
def test_a_machine_that_is_no_longer_in_the_rig_has_no_rights(pit: FourMachines, named: bool) -> None:
    """With a certificate of our own authority, a machine that the rig does not name cannot see, receive, send or ask;
    one that it names sees the others and is seen by them."""
    guest = f'guest = {{ listen = "{pit.net.address("guest")}:7410", dial = ["desk", "spare", "stage-left"] }}\n'
    wider = read(pit.text.replace("[[scenes]]", f"{guest}[[scenes]]"), str(pit.file))
    pit.make_keys(wider, pit.file.parent)
    if named:
        pit.rig = wider
    desk, _, left = pit.all()
    settings = settings_of(wider.on("guest"), pit.file)
    former = pit.join("guest", changed(settings, lambda config: config.pop("access_control")))
    assert former.fault is None
    everything = f"{pit.keys.root}/**"
    former.do("watch", everything)
    former.do("subscribe", everything)
    former.do("alive", pit.keys.alive("guest"))
    left.do("subscribe", pit.keys.outputs("stage-left"))
    left.do("answer", pit.keys.claim("stage-left"), "granted")
    if named:
        until(
            "what was said to be heard",
            lambda: len(former.seen) == len(MACHINES) and [pit.keys.alive("guest"), True] in left.seen,
        )
        return
    deadline = time.monotonic() + _QUIET
    while time.monotonic() < deadline:
        former.do("publish", pit.keys.output("stage-left", "strings"), "90 3C 40")
        desk.do("publish", pit.keys.input("desk", "keys"), "90 3C 40")
        assert former.do("ask", pit.keys.claim("stage-left"), "guest") == []
    assert (former.seen, former.heard, left.heard, left.asked) == ([], [], [], [])
    assert [pit.keys.alive("guest"), True] not in left.seen + desk.seen


def test_a_machine_that_lends_its_ports_plays_nobody_else(pit: FourMachines) -> None:
    """With its own valid certificate a stage box cannot play another machine's outputs, report another's inputs, claim,
    keep a state of the show, or pass for another machine."""
    desk, spare, left = pit.all()
    names = pit.keys
    for machine, name in ((desk, "desk"), (spare, "spare")):
        machine.do("subscribe", names.outputs(name))
        machine.do("subscribe", names.inputs("*"))
        machine.do("subscribe_state", names.state("show"))
        machine.do("answer", names.claim(name), "granted")
    keys_heard = [names.input("stage-left", "keys"), "own"]
    while keys_heard not in desk.heard or keys_heard not in spare.heard:
        left.do("publish", *keys_heard)  # it may report its own inputs
    desk.heard.clear()
    spare.heard.clear()
    left.do("alive", names.alive("mixer"))
    deadline = time.monotonic() + _QUIET
    while time.monotonic() < deadline:
        for name in ("desk", "spare"):
            left.do("publish", names.output(name, "strings"), "90 3C 40")
            left.do("publish", names.input(name, "keys"), "90 3C 40")
            assert left.do("ask", names.claim(name), "stage-left") == []
        left.do("keep", names.state("show"), "mine")
    own = [keys_heard]
    assert [each for each in desk.heard + spare.heard if each not in own] == []
    assert (desk.asked, spare.asked) == ([], [])
    assert [names.alive("mixer"), True] not in desk.seen + spare.seen


def test_a_certificate_for_another_address_is_no_use(pit: FourMachines, tmp_path: Path) -> None:
    """A machine at the desk's address with a good certificate for another address is not linked with."""
    pit.join("desk", changed(pit.settings("desk"), lambda config: as_machine(config, pit, "spare")))
    left = pit.join("stage-left", pit.settings("stage-left"))
    left.do("watch", f"{pit.keys.root}/alive/*")
    pit.machines[0].do("alive", pit.keys.alive("spare"))
    time.sleep(_QUIET)  # nothing may come in this time
    assert left.seen == []


def as_machine(config: dict[str, Any], pit: FourMachines, machine: str) -> None:
    """Present another machine's certificate."""
    own = json.loads(pit.settings(machine).config)["transport"]["link"]["tls"]
    config["transport"]["link"]["tls"] = own


def test_what_is_recorded_and_sent_again_does_nothing(pit: FourMachines) -> None:
    """A claim and a note whose packets were recorded at the switch and are sent again do not arrive a second time."""
    desk, spare, left = pit.all()
    left.do("subscribe", pit.keys.outputs("stage-left"))
    left.do("answer", pit.keys.claim("stage-left"), "granted")
    until("what was said to be heard", lambda: desk.do("ask", pit.keys.claim("stage-left"), "desk") == ["granted"])
    recorder = subprocess.Popen(
        pit.net.at_switch(*process_of("frame_replayer"), pit.net.socket("stage-left")),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert recorder.stdin is not None
    assert recorder.stdout is not None
    assert recorder.stdout.readline() == "recording\n"
    for number in range(20):
        assert desk.do("ask", pit.keys.claim("stage-left"), f"desk {number}") == ["granted"]
        desk.do("publish", pit.keys.output("stage-left", "strings"), f"note {number}")
    until("what was said to be heard", lambda: len(left.heard) >= 20)
    heard, asked, seen = list(left.heard), list(left.asked), len(left.seen)
    recorder.stdin.write("again\n")
    recorder.stdin.flush()
    sent = int(recorder.stdout.readline())
    recorder.communicate()
    assert sent >= 20
    time.sleep(_QUIET)  # nothing may come in this time
    assert (left.heard, left.asked) == (heard, asked)
    assert [each for each in left.seen[seen:] if not each[1]] == []  # and no link was lost
    assert spare.do("ask", pit.keys.claim("stage-left"), "spare") == ["granted"]
