"""`bayleaf new`: writes a first rig file that passes `check`, and overwrites nothing."""

import subprocess
import sys
from pathlib import Path

import pytest

from engine.ports.memory import MemorySystem
from engine.ports.port import PortError
from engine.rig.read.load import load
from engine.rig.starter_rig import KINDS
from tests.support.bayleaf_command import Bayleaf
from tests.support.simulated_instrument import IDENTITY

INPUTS = ("Stage piano:midi_00", "Foot controller:out", "Midi Through:Midi Through Port-0 14:0")
OUTPUTS = ("Sound module:in", "Choir synth:midi_00", "Midi Through:Midi Through Port-0 14:0")


@pytest.fixture
def system(monkeypatch: pytest.MonkeyPatch) -> MemorySystem:
    """Connected gear: the sound module identifies itself at the piano's input, the choir's cable leads to the foot."""
    system = MemorySystem("bayleaf", INPUTS, OUTPUTS)
    monkeypatch.setattr("engine.cli.commands.new.open_system", lambda *_: system)
    monkeypatch.setattr("engine.cli.commands.new._SECONDS", 0.01)
    for output, source, answer in ((0, 0, IDENTITY), (1, 1, bytes.fromhex("F0 7E 7F 06 01 F7"))):
        heard = system.input(INPUTS[source])
        monkeypatch.setattr(
            system.output(OUTPUTS[output]), "send", lambda _, heard=heard, said=answer: heard.push(said)
        )
    return system


def test_new_writes_a_rig_that_checks_and_overwrites_nothing(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """`new` writes a starter rig that `check` accepts; an existing file is left alone."""
    rig = tmp_path / "mine.toml"
    assert bayleaf("new", str(rig), "--backend", "memory").status == 0
    assert bayleaf("check", str(rig)).status == 0
    before = rig.read_text()
    said = bayleaf("new", str(rig), "--backend", "memory")
    assert said.status == 1
    assert "already exists" in said.err
    assert rig.read_text() == before


def test_ports_get_the_names_of_their_gear(system: MemorySystem, bayleaf: Bayleaf, tmp_path: Path) -> None:
    """The names in the rig are those of the gear, the kernel's own port is left out, and a device that answered is
    named beside its instrument, whose channel is said to be a guess. Hands play every instrument that does not
    lead back to them, feet recall the scenes. The two commands that come next are printed."""
    file = tmp_path / "mine.toml"
    said = bayleaf("new", file, "--backend", "jack")
    assert said.err == "asking at 2 outputs which device is there …\n"
    assert said.out == (
        f"wrote {file}: 2 inputs, 2 outputs, 1 device identified\n"
        "Channel 1 is a guess for each instrument: write the channel that it is set to.\n"
        f"Read it through. Next:\n  bayleaf check {file}\n  bayleaf run {file} --backend jack\n"
    )
    rig = load(file)
    assert {name: port.port for name, port in rig.inputs.items()} == {
        "stage-piano": "Stage piano:midi_00",
        "foot-controller": "Foot controller:out",
    }
    assert list(rig.outputs) == ["sound-module", "choir-synth"]
    assert '# a device answered at "Stage piano:midi_00": manufacturer 00 21 09, family 1' in file.read_text()
    assert file.read_text().count("channel = 1                   # a guess\n") == 2
    played = {(source, line.on) for line in rig.scenes[0].play for source in line.source}
    assert played == {("stage-piano", "sound-module"), ("stage-piano", "choir-synth")}
    assert [(control.input, control.do) for control in rig.controls] == [("foot-controller", "scene")]
    assert bayleaf("check", file).out.endswith(f"Next, play it: bayleaf run {file}\n")


def test_an_output_that_leads_back_is_not_played_from_there(
    monkeypatch: pytest.MonkeyPatch, bayleaf: Bayleaf, tmp_path: Path
) -> None:
    """A cable from an output to an input would be a loop: that input plays the other outputs only."""
    system = MemorySystem("bayleaf", ("Keys", "Pads"), ("Box", "Rack"))
    monkeypatch.setattr("engine.cli.commands.new.open_system", lambda *_: system)
    monkeypatch.setattr("engine.cli.commands.new._SECONDS", 0.01)
    monkeypatch.setattr(system.output("Box"), "send", system.input("Pads").push)
    assert bayleaf("new", tmp_path / "loop.toml").status == 0
    lines = load(tmp_path / "loop.toml").scenes[0].play
    assert [(line.source, line.on) for line in lines] == [(("keys",), "box"), (("keys", "pads"), "rack")]


def test_a_ready_made_rig_gets_the_connected_ports(system: MemorySystem, bayleaf: Bayleaf, tmp_path: Path) -> None:
    """With --kind, a connected port replaces the invented one whose name is like its own, then the others in order;
    the answer says which. Nothing is sent to the gear."""
    file = tmp_path / "mine.toml"
    said = bayleaf("new", file, "--kind", "drum-triggers")
    assert "inputs.foot is Foot controller:out" in said.out
    assert "inputs.triggers is Stage piano:midi_00" in said.out
    assert "outputs.drums is Sound module:in" in said.out
    assert said.err == ""
    assert load(file).inputs["foot"].port == "Foot controller:out"


@pytest.mark.parametrize("kind", KINDS)
def test_without_a_midi_system_the_ready_made_rigs_are_named(
    monkeypatch: pytest.MonkeyPatch, bayleaf: Bayleaf, tmp_path: Path, kind: str
) -> None:
    """Where no ports can be listed, the error names what works nevertheless, and no file is written."""

    def fail(*_: object) -> None:
        raise PortError("no sequencer")

    monkeypatch.setattr("engine.cli.commands.new.open_system", fail)
    file = tmp_path / "a.toml"
    said = bayleaf("new", file)
    assert said.status == 1
    assert said.err == "no sequencer; a ready-made rig needs no ports: bayleaf new --kind theatre-pit\n"
    assert not file.exists()
    assert "invented names to be replaced (no sequencer)" in bayleaf("new", file, "--kind", kind).out
    assert bayleaf("check", file).status == 0


def test_an_unknown_kind_is_answered_with_the_nearest_and_the_list(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A misspelt --kind names the nearest and all others; nothing is written."""
    said = bayleaf("new", tmp_path / "a.toml", "--kind", "studo")
    assert said.status == 1
    assert 'no starter rig "studo"; did you mean "studio"? there are: two-keyboards, studio' in said.err
    assert not (tmp_path / "a.toml").exists()


@pytest.mark.slow
def test_a_disk_without_room_gets_no_part_of_a_rig(tmp_path: Path) -> None:
    """If the file cannot be written completely, `new` says so with status 1, and can be tried again."""
    small = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    small += "resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100)); from engine.cli.app import main; main()"
    for kind, status in ((small, 1), ("from engine.cli.app import main; main()", 0)):
        # -B: of a module's bytecode, too, Python would write no more than that, and later fail to read it; and JACK's
        # library no more of its database, at which it then waits 18 seconds in every program
        command = [sys.executable, "-B", "-c", kind, "new", "mine.toml", "--kind", "studio", "--backend", "memory"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == status, done.stderr
    assert (tmp_path / "mine.toml").is_file()
