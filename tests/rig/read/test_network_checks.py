"""`[network]` in a rig file: what it means, and every mistake reported by line and key. (Our own design; no source.)"""

import pytest

from engine.rig.read.load import RigError, read

RIG = """\
format = 1
[network]
machine = "desk"
main    = "desk"
standby = "spare"
[network.machines]
desk       = { listen = "192.168.10.2:7410" }
spare      = { listen = "192.168.10.3:7410" }
stage-left = { listen = "192.168.10.11:7410", dial = ["desk", "spare"] }
pit        = { listen = "192.168.10.5:7410" }
[inputs]
keys = { machine = "stage-left", port = "Stage piano*" }
pads = { port = "Stage piano*" }
[outputs]
strings = { machine = "stage-left", port = "Box*1", wire = "din" }
drums   = { machine = "pit", port = "Box*1", wire = "din" }
[[scenes]]
number = 1
name   = "One"
routes = [ { from = "pads", to = ["strings", "drums"] } ]
"""

BREAKS = [
    (
        'machine = "desk"\n',
        'machine = "dest"\n',
        (3, "network.machine", 'no machine "dest"; did you mean "desk"? there'),
    ),
    (
        'main    = "desk"',
        'main    = "mars"',
        (4, "network.main", 'there is no machine "mars"; there are: desk, spare,'),
    ),
    ('main    = "desk"\n', "", (2, "network.main", "this key is missing; it is required here")),
    ('"spare"\n', '"spar"\n', (5, "network.standby", 'no machine "spar"; did you mean "spare"?')),
    ('"spare"\n', '"desk"\n', (5, "network.standby", '"desk" is already the main machine; name another')),
    (
        "[network.machines]",
        "mains = 1\n[network.machines]",
        (6, "network.mains", 'unknown key "mains"; did you mean "main"'),
    ),
    (
        "192.168.10.3:7410",
        "192.168.10.3",
        (8, "network.machines.spare.listen", 'found "192.168.10.3"; allowed: the machine'),
    ),
    ("192.168.10.3:7410", "0.0.0.0:7410", (8, "network.machines.spare.listen", 'found "0.0.0.0:7410"; allowed: the')),
    ("192.168.10.3:7410", "192.168.10.3:0", (8, "network.machines.spare.listen", "allowed: the machine's own address")),
    (
        "192.168.10.3:7410",
        "spare.local:7410",
        (8, "network.machines.spare.listen", "allowed: the machine's own address"),
    ),
    (
        "192.168.10.3:7410",
        "192.168.10.2:7410",
        (8, "network.machines.spare.listen", '"desk" already listens on 192.168.10.2:7410'),
    ),
    ("192.168.10.2:7410", "127.0.0.1:7410", (8, "network.machines.spare.listen", "cannot reach each other")),
    ('"desk", "spare"]', '"desk", "spar"]', (9, "network.machines.stage-left.dial.2", 'there is no machine "spar"')),
    ('"desk", "spare"]', '"desk", "spare", "stage-left"]', (9, "network.machines.stage-left.dial.3", "dials itself")),
    ('"desk", "spare"]', '"desk"]', (9, "network.machines.stage-left", "have no link: neither dials the other")),
    (
        '["desk", "spare"]',
        '"desk"',
        (9, "network.machines.stage-left.dial", 'allowed: a list of machines such as ["desk"]'),
    ),
    ('10.2:7410" }', '10.2:7410", dial = ["spare"] }', (8, "network.machines.spare", '"desk" already dials "spare"')),
    ('main    = "desk"', 'main    = ["desk"]', (4, "network.main", "allowed: text in quotes")),
    ('"spare"\n', "{}\n", (5, "network.standby", "allowed: text in quotes")),
    ('machine = "pit"', 'machine = ["pit"]', (16, "outputs.drums.machine", "allowed: text in quotes")),
    (
        "pit        =",
        "Desk       =",
        (10, "network.machines.Desk", '"Desk" and "desk" differ only in upper'),
    ),
    ("pit        =", "Authority  =", (10, "network.machines.Authority", "certificate files")),
    ("pit        =", '"pit *"    =', (10, 'network.machines."pit *"', 'found "pit *"; allowed: a machine')),
    (
        'machine = "pit"',
        'machine = "spare"',
        (16, "outputs.drums.machine", '"spare" is the standby, which lends no ports'),
    ),
    ('machine = "pit"', 'machine = "pitt"', (16, "outputs.drums.machine", 'no machine "pitt"; did you mean "pit"?')),
    (
        "pads = { port",
        'pads = { machine = "stage-left", port',
        (13, "inputs.pads.port", '"pads" and "keys" are the same'),
    ),
]


def problems(text: str) -> list[tuple[int, str, str]]:
    """The problems of a rig."""
    with pytest.raises(RigError) as caught:
        read(text, "pit.toml")
    return [(problem.line, problem.key, problem.text) for problem in caught.value.problems]


@pytest.mark.parametrize(("old", "new", "problem"), BREAKS, ids=[f"{old} => {new}" for old, new, _ in BREAKS])
def test_each_mistake_is_reported_at_its_place(old: str, new: str, problem: tuple[int, str, str]) -> None:
    """A mistake in [network] is reported by line, key and what is allowed."""
    assert RIG.count(old) >= 1
    found = problems(RIG.replace(old, new, 1))
    line, key, words = problem
    assert any(at == line and where == key and words in text for at, where, text in found), found


def test_a_machine_needs_a_network() -> None:
    """A port with `machine` in a rig without [network] is reported once."""
    text = 'format = 1\n[inputs]\na = { machine = "x", port = "A" }\nb = { machine = "x", port = "B" }\n'
    found = problems(text + '[[scenes]]\nnumber = 1\nname = "One"\n')
    assert found == [(3, "inputs.a.machine", "machine needs a [network], and this rig has none; leave it out")]


def test_who_dials_and_where_ports_are() -> None:
    """Machines dial all earlier ones unless the rig says otherwise; a port without `machine` is on the main one."""
    rig = read(RIG, "pit.toml")
    assert rig.network is not None
    assert [rig.network.dials(name) for name in rig.network.machines] == [
        (),
        ("desk",),
        ("desk", "spare"),
        ("desk", "spare", "stage-left"),
    ]
    assert (rig.home(rig.inputs["pads"]), rig.home(rig.inputs["keys"])) == ("desk", "stage-left")
    assert (rig.is_remote(rig.inputs["pads"]), rig.is_remote(rig.inputs["keys"])) == (False, True)
    assert rig.network.engines == ("desk", "spare")
    assert rig.network.encrypted


def test_the_same_file_on_every_machine() -> None:
    """`on` reads the rig as another of its machines; an unknown name, and a rig of one machine, are reported."""
    rig = read(RIG, "pit.toml")
    left = rig.on("stage-left")
    assert (left.is_remote(rig.inputs["pads"]), left.is_remote(rig.inputs["keys"])) == (True, False)
    with pytest.raises(ValueError, match='there is no machine "mars"; there are: desk, spare, stage-left, pit'):
        rig.on("mars")
    with pytest.raises(ValueError, match="--machine goes with a rig that has a"):
        read('format = 1\n[[scenes]]\nnumber = 1\nname = "One"\n', "pit.toml").on("desk")


def _encrypted(text: str) -> bool:
    network = read(text, "pit.toml").network
    assert network is not None
    return network.encrypted


def test_on_one_computer_links_are_plain() -> None:
    """Links between machines that all listen on the loopback need no certificates; others do, unless `plain` is set."""
    text = RIG.replace("192.168.10", "127.0.0")
    assert [_encrypted(each) for each in (RIG, text)] == [True, False]
    assert not _encrypted(RIG.replace("[network.machines]", "plain = true\n[network.machines]"))
