"""Commands that look without playing, as a user types them."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.cli.app import main
from tests.support.paths import PRESETS

DEMO = PRESETS / "demo.toml"


class Said(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def bayleaf(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Runs the command in this process."""

    def run(*arguments: str) -> Said:
        monkeypatch.setattr("sys.argv", ["bayleaf", *arguments])
        status = 0
        try:
            main()
        except SystemExit as ended:
            status = int(ended.code or 0)
        captured = capsys.readouterr()
        return Said(status, captured.out, captured.err)

    return run


def test_check_tells_each_bursts_cost(bayleaf: Callable[..., Said]) -> None:
    """`check` prints bytes and time on the wire: 320 µs a byte (MIDI 1.0 p. 1) and then the settle time."""
    said = bayleaf("check", str(DEMO), "--json")
    assert said.status == 0
    bursts = {(row["number"], row["output"]): row for row in json.loads(said.out)["bursts"]}
    assert bursts[11, "strings"]["bytes"] == 8  # bank MSB, bank LSB, program: 3 + 3 + 2
    assert bursts[11, "strings"]["wire_ms"] == pytest.approx(8 * 0.32)
    assert bursts[11, "strings"]["ms"] == pytest.approx(8 * 0.32 + 30)
    assert bursts[12, "brass"]["bytes"] == 5  # this one hears no LSB
    assert bursts[12, "bass"]["bytes"] == 2  # and this one no bank


def test_check_prints_a_table(bayleaf: Callable[..., Said]) -> None:
    """Without --json the same is a table for people, and the very bytes of each step are shown."""
    said = bayleaf("check", str(DEMO))
    assert said.status == 0
    assert "2.56 ms" in said.out
    assert "B4 00 00, B4 20 03, C4 0B" in said.out
    assert "is valid: 3 inputs, 4 outputs, 4 instruments, 4 scenes" in said.out
    assert "Street at night" in said.out


def test_a_broken_rig_is_told_on_stderr(bayleaf: Callable[..., Said], tmp_path: Path) -> None:
    """A rig at fault gives status 1, and file, line and key on stderr."""
    rig = tmp_path / "broken.toml"
    rig.write_text('format = 1\n[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = "keys", to = "x" } ]\n')
    said = bayleaf("check", str(rig))
    assert said.status == 1
    assert f"{rig}:5: scenes.1.routes.1.from:" in said.err
    assert f"{rig}:5: scenes.1.routes.1.to:" in said.err
    assert said.out == ""


def test_usage_errors_give_status_2(bayleaf: Callable[..., Said]) -> None:
    """What is no command, or a command without what it needs, is a usage error."""
    assert bayleaf("chek").status == 2
    assert bayleaf("check").status == 2


def test_explain_tells_each_filters_verdict(bayleaf: Callable[..., Said]) -> None:
    """`explain --json` names each route and filter, and what each output gets, in hexadecimal."""
    said = bayleaf("explain", str(DEMO), "--scene", "12", "--input", "keys", "90", "3C", "40", "--json")
    assert said.status == 0
    found = json.loads(said.out)
    assert found["outputs"] == {"strings": [], "brass": ["90 3C 37"], "bass": [], "drums": []}
    stopped, passed = found["routes"]
    assert stopped["filters"] == [{"filter": "zone", "in": ["90 3C 40"], "out": []}]
    assert [one["filter"] for one in passed["filters"]] == ["zone", "velocity"]


def test_explain_in_words(bayleaf: Callable[..., Said]) -> None:
    """For people the message and what comes out are said in words as well."""
    said = bayleaf("explain", str(DEMO), "--scene", "Street at night", "--input", "keys", "903C40")
    assert "channel 1 note on C4 velocity 64" in said.out
    assert "brass: 90 3C 37" in said.out


TAKEN = """
format = 1
[inputs]
pedals = { port = "a" }
[outputs]
drums = { port = "b" }
[[routes]]
from = "pedals"
to = "drums"
[[controls]]
input = "pedals"
when = { program = "any" }
do = "scene"
[[controls]]
input = "pedals"
when = { controller = 80 }
do = "next"
pass = true
[[controls]]
input = "pedals"
when = { controller = 81 }
do = "back"
scenes = [2]
[remote]
inputs = "pedals"
device = 5
[[scenes]]
number = 1
name = "One"
[[scenes]]
number = 2
name = "Two"
"""


@pytest.mark.parametrize(
    ("scene", "message", "taken"),
    [
        ("1", "C0 0B", "a control"),
        ("1", "B0 50 00", None),  # pass = true
        ("1", "B0 51 7F", None),  # a control of scene 2
        ("2", "B0 51 7F", "a control"),
        ("1", "F0 7F 05 02 01 01 31 F7", "[remote]"),
        ("1", "F0 7F 06 02 01 01 31 F7", None),  # for another device
    ],
)
def test_explain_knows_who_takes_a_message(
    bayleaf: Callable[..., Said], tmp_path: Path, scene: str, message: str, taken: str | None
) -> None:
    """What a control or the remote consumes reaches no output; so it is told, and the outputs get nothing."""
    rig = tmp_path / "rig.toml"
    rig.write_text(TAKEN)
    asked = "explain", str(rig), "--scene", scene, "--input", "pedals", message
    found = json.loads(bayleaf(*asked, "--json").out)
    by = found["command"]["by"] if found["command"] and not found["command"]["routed"] else None
    assert (by, found["outputs"]["drums"]) == (taken, [] if taken else [message])
    assert ("takes it; it is not routed" in bayleaf(*asked).out) == bool(taken)
    assert bayleaf(*asked, "--picture", str(tmp_path / "way.svg")).status == 0
    assert ("line silent" in (tmp_path / "way.svg").read_text(encoding="utf-8")) == bool(taken)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--scene", "99", "--input", "keys", "90", "3C", "40"), "there is no scene 99"),
        (("--input", "nobody", "90", "3C", "40"), 'there is no input "nobody"'),
        (("--input", "keys", "90", "3C"), "one whole MIDI message"),
        (("--input", "keys", "hello"), "one whole MIDI message"),
        (
            ("--scene", "finlae", "--input", "keys", "F8"),
            'did you mean "Finale"? it has 11 Overture, 12 Street at night',
        ),
    ],
)
def test_explain_says_what_is_wrong(bayleaf: Callable[..., Said], arguments: tuple[str, ...], told: str) -> None:
    """A wrong scene, input or message gives one sentence and status 1."""
    said = bayleaf("explain", str(DEMO), *arguments)
    assert said.status == 1
    assert told in said.err


def test_explain_says_what_is_commanded(bayleaf: Callable[..., Said], tmp_path: Path) -> None:
    """A message that a control takes goes no further, as in the show, and what it commands is said; one that the
    control passes on is explained like any other."""
    pedal = ("--input", "pedals", "C0", "0C")
    said = bayleaf("explain", str(DEMO), *pedal)
    assert "a control takes it; it is not routed: recall scene 13 Chase" in said.out
    assert "no route of this scene" not in said.out
    assert json.loads(bayleaf("explain", str(DEMO), *pedal, "--json").out)["command"] == {
        "by": "a control",
        "commands": ["recall scene 13 Chase"],
        "routed": False,
    }
    rig = tmp_path / "pit.toml"
    rig.write_text(DEMO.read_text().replace('from = "keys", to = "strings"', 'from = "pedals", to = "strings"', 1))
    assert json.loads(bayleaf("explain", str(rig), *pedal, "--json").out)["routes"] == []
    rig.write_text(rig.read_text().replace('when  = { program = "any" }', 'when = { program = "any" }\npass = true'))
    found = json.loads(bayleaf("explain", str(rig), *pedal, "--json").out)
    assert found["command"]["routed"] is True
    assert found["outputs"]["strings"] == ["C4 0C"]


def test_half_a_question_is_a_usage_error(bayleaf: Callable[..., Said], tmp_path: Path) -> None:
    """A message without its input, or an input without a message, is not passed over, whether or not a picture is
    asked for."""
    picture = ("--picture", str(tmp_path / "a.svg"))
    for half in (("90", "3C", "40"), ("--input", "keys")):
        assert bayleaf("explain", str(DEMO), *half).status == 2
        assert bayleaf("explain", str(DEMO), *half, *picture).status == 2
    assert not (tmp_path / "a.svg").exists()


def test_new_writes_a_rig_that_checks_and_overwrites_nothing(bayleaf: Callable[..., Said], tmp_path: Path) -> None:
    """`new` writes a starter rig that `check` accepts; an existing file is left alone."""
    rig = tmp_path / "mine.toml"
    assert bayleaf("new", str(rig), "--backend", "memory").status == 0
    assert bayleaf("check", str(rig)).status == 0
    before = rig.read_text()
    said = bayleaf("new", str(rig), "--backend", "memory")
    assert said.status == 1
    assert "already exists" in said.err
    assert rig.read_text() == before


def test_a_disk_without_room_gets_no_part_of_a_rig(tmp_path: Path) -> None:
    """Where the file cannot be written whole, `new` says so with status 1, and can be tried again."""
    small = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    small += "resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100)); from engine.cli.app import main; main()"
    for kind, status in ((small, 1), ("from engine.cli.app import main; main()", 0)):
        command = [sys.executable, "-c", kind, "new", "mine.toml", "--kind", "studio"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == status, done.stderr
    assert (tmp_path / "mine.toml").is_file()


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_terminal_that_cannot_show_a_sign_gets_the_rest(tmp_path: Path, encoding: str) -> None:
    """Whatever signs stdout can show, `check` prints its tables, and JSON that is the same."""
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


def test_ports_lists_and_unknown_backends_are_told(bayleaf: Callable[..., Said]) -> None:
    """`ports` prints JSON on request; a backend that does not exist is told with those that do."""
    said = bayleaf("ports", "--backend", "memory", "--json")
    assert json.loads(said.out) == {"inputs": [], "outputs": []}
    said = bayleaf("ports", "--backend", "carrier-pigeon")
    assert said.status == 1
    assert "alsa, jack" in said.err


def test_no_engine_is_told(bayleaf: Callable[..., Said], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A command to an engine that does not run says so, and how to start one."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", os.fspath(tmp_path))
    said = bayleaf("scene", "1")
    assert said.status == 1
    assert "bayleaf run" in said.err


def test_the_demo_in_json(bayleaf: Callable[..., Said]) -> None:
    """What prints a table prints JSON with --json, and nothing else, the demo too."""
    said = bayleaf("demo", "--json")
    found = json.loads(said.out)
    assert [change["text"].split(",")[0] for change in found["changes"]][-1] == "scene 14 Finale"
    assert {one["left_sounding"] for one in found["instruments"]} == {0}
    assert found["carried"]
    assert all(one["down"] < one["change"] < one["up"] for one in found["carried"])


def test_the_demo_shows_the_job(bayleaf: Callable[..., Said]) -> None:
    """`demo` plays three scene changes by foot and shows banks, programs and notes held across."""
    said = bayleaf("demo")
    assert said.status == 0
    for scene in ("scene 11 Overture", "scene 12 Street at night", "scene 13 Chase", "scene 14 Finale"):
        assert said.out.count(scene) == 1, "the worn switch must count once"
    assert "Warm pad" in said.out
    assert "held across" in said.out
    assert "LEFT SOUNDING" not in said.out
