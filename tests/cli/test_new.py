"""`bayleaf new`: writes a first rig file that passes `check`, and overwrites nothing."""

import subprocess
import sys
from pathlib import Path

import pytest

from engine.cli.commands.new import new
from engine.cli.output import CommandError
from engine.ports.port import PortError
from tests.support.bayleaf_command import Bayleaf


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


def test_without_a_midi_system_the_ready_made_rigs_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where no ports can be listed, the error names what works nevertheless, and no file is written."""

    def fail(backend: str | None) -> None:
        raise PortError("no sequencer")

    monkeypatch.setattr("engine.cli.commands.new.port_names", fail)
    with pytest.raises(CommandError, match="no sequencer; a ready-made example needs no ports: --kind theatre-pit"):
        new(tmp_path / "a.toml")
    assert not (tmp_path / "a.toml").exists()
    new(tmp_path / "a.toml", "theatre-pit")
    assert (tmp_path / "a.toml").exists()


@pytest.mark.slow
def test_a_disk_without_room_gets_no_part_of_a_rig(tmp_path: Path) -> None:
    """If the file cannot be written completely, `new` says so with status 1, and can be tried again."""
    small = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    small += "resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100)); from engine.cli.app import main; main()"
    for kind, status in ((small, 1), ("from engine.cli.app import main; main()", 0)):
        command = [sys.executable, "-c", kind, "new", "mine.toml", "--kind", "studio"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == status, done.stderr
    assert (tmp_path / "mine.toml").is_file()
