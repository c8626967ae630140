"""`bayleaf check`, as a user types it: what scenes cost, what is wrong, and terminals that cannot show every letter."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.bayleaf_command import Bayleaf
from tests.support.paths import PRESETS
from tests.support.players_rig import PLAYERS

DEMO = PRESETS / "demo.toml"


def test_check_tells_each_bursts_cost(bayleaf: Bayleaf) -> None:
    """`check` prints bytes and time on the cable: 320 µs per byte (MIDI 1.0 p. 1) and then the settle time."""
    said = bayleaf("check", str(DEMO), "--json")
    assert said.status == 0
    bursts = {(row["number"], row["output"]): row for row in json.loads(said.out)["bursts"]}
    assert bursts[11, "strings"]["bytes"] == 8  # bank MSB, bank LSB, program: 3 + 3 + 2
    assert bursts[11, "strings"]["wire_ms"] == pytest.approx(8 * 0.32)
    assert bursts[11, "strings"]["ms"] == pytest.approx(8 * 0.32 + 30)
    assert bursts[12, "brass"]["bytes"] == 5  # this instrument ignores the LSB
    assert bursts[12, "bass"]["bytes"] == 2  # and this one ignores banks


def test_check_prints_a_table(bayleaf: Bayleaf) -> None:
    """Without --json, `check` prints the same as a table, including the actual bytes of each step."""
    said = bayleaf("check", str(DEMO))
    assert said.status == 0
    assert "2.56 ms" in said.out
    assert "B4 00 00, B4 20 03, C4 0B" in said.out
    assert "is valid: 3 inputs, 4 outputs, 4 instruments, 4 scenes" in said.out
    assert "Street at night" in said.out


def test_a_broken_rig_is_reported_on_stderr(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A rig with an error gives status 1, with file, line and key on stderr."""
    rig = tmp_path / "broken.toml"
    rig.write_text('format = 1\n[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = "keys", to = "x" } ]\n')
    said = bayleaf("check", str(rig))
    assert said.status == 1
    assert f"{rig}:5: scenes.1.routes.1.from:" in said.err
    assert f"{rig}:5: scenes.1.routes.1.to:" in said.err
    assert said.out == ""


def test_usage_errors_give_status_2(bayleaf: Bayleaf) -> None:
    """An unknown command, or a command without a required argument, is a usage error."""
    assert bayleaf("chek").status == 2
    assert bayleaf("check").status == 2


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_terminal_that_cannot_show_a_sign_gets_the_rest(tmp_path: Path, encoding: str) -> None:
    """Whatever characters stdout can show, `check` prints its tables and the same JSON."""
    file = tmp_path / "pit.toml"
    file.write_text(
        'format = 1\n[rig]\nname = "Ouvertüre 😀"\n[[scenes]]\nnumber = 1\nname = "Größe 😀"\n', encoding="utf-8"
    )
    for more in ((), ("--json",)):
        command = [sys.executable, "-m", "engine.cli", "check", str(file), *more]
        environment = {**os.environ, "PYTHONIOENCODING": encoding}
        done = subprocess.run(command, env=environment, capture_output=True, timeout=60, check=False)
        assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode(encoding))["rig"] == "Ouvertüre 😀"


SILENT = """format = 2
[inputs]
keys = { port = "Stage piano*" }
[outputs]
brass = { port = "Eight-way box*2" }
[instruments.brass-module]
output = "brass"
channel = 5
[[scenes]]
number = 12
name = "Street at night"
play = [
  { from = "keys", on = "brass-module", notes = "C4..", through = [{ filter = "zone", notes = "..B3" }] },
]
"""


def test_check_warns_of_silence(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """One line with file, line, scene and names, and status 0; with `--strict` it is an error."""
    rig = tmp_path / "pit.toml"
    rig.write_text(SILENT)
    warning = (
        f"{rig}:13: warning: scene 12 Street at night: line 1 from keys lets no note through: all that reach "
        'the filter "zone" are outside its range; compare it with the ranges before it'
    )
    said = bayleaf("check", str(rig))
    assert said.status == 0
    assert warning in said.out.splitlines()
    strict = bayleaf("check", str(rig), "--strict")
    assert (strict.status, strict.out, strict.err) == (1, "", f"{warning}\n")
    found = json.loads(bayleaf("check", str(rig), "--json").out)["findings"]
    assert [(each["file"], each["line"], each["scene"]) for each in found] == [(str(rig), 13, 12)]
    assert bayleaf("check", str(DEMO), "--strict").status == 0


def test_check_warns_of_a_control_that_never_counts(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """At its line, with the remedy; `--strict` makes an error of it."""
    rig = tmp_path / "players.toml"
    text = f'{PLAYERS}\n[[controls]]\ninput = "anna"\nwhen = {{ controller = 81 }}\ndo = "next"\nplayers = ["ben"]\n'
    rig.write_text(text, encoding="utf-8")
    said = bayleaf("check", str(rig))
    line = text.splitlines().index('players = ["ben"]') + 1
    assert said.status == 0
    assert f"{rig}:{line}: warning: the control at anna is for ben, but anna is an input of anna" in said.out
    assert bayleaf("check", str(rig), "--strict").status == 1
