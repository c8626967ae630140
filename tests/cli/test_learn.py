"""`bayleaf learn` in a terminal played by the test, and against a running engine. (Our own design.)"""

import json
import os
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from engine.cli.app import app
from engine.live.socket import client
from engine.rig.read.load import read
from tests.support.engine_on_fifos import EngineOnFifos
from tests.support.paths import BAYLEAF

#: three presses of a switch that bounces for 12 ms as it closes: ms, message
WORN = [
    (press * 1000 + at, message)
    for press in range(3)
    for at, message in ((0, "B0 50 7F"), (5, "B0 50 00"), (12, "B0 50 7F"), (300, "B0 50 00"))
]


class Engine:
    """A stand-in for the engine: receives these messages, and does what it is asked, or refuses."""

    def __init__(self, heard: list[tuple[float, str]], refusal: str | None = None) -> None:
        self.heard, self.refusal = heard, refusal
        self.asked: list[dict[str, Any]] = []

    def ask(self, name: str, request: dict[str, Any], patience: float = 5.0) -> dict[str, Any]:
        if request["do"] == "status":
            return {"done": True, "status": {"inputs": [{"name": "keys"}, {"name": "pedals"}]}}
        self.asked.append(request)
        if self.refusal is not None:
            return {"done": False, "text": self.refusal}
        return {"done": True, "text": "the control works; not saved yet (bayleaf save)"}

    def watch(self, name: str) -> Iterator[dict[str, Any]]:
        yield {"events": [], "middle_c": "C4"}
        yield {"events": [_event("keys", 0, "90 3C 40"), _event("pedals", 0, "F8")], "middle_c": "C4"}
        yield {"events": [_event("pedals", at, message) for at, message in self.heard], "middle_c": "C4"}


def _event(port: str, at: float, message: str) -> dict[str, Any]:
    return {"at": round(at * 1e6), "way": "in", "port": port, "message": message, "text": ""}


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run `bayleaf learn pedals` with these arguments and answer its questions; returns the result and the engine."""

    def run(*more: str, heard: Any = WORN, answer: str = "", refusal: str | None = None) -> Any:
        engine = Engine(heard, refusal)
        monkeypatch.setattr(client, "ask", engine.ask)
        monkeypatch.setattr(client, "watch", engine.watch)
        return CliRunner().invoke(app, ["learn", "pedals", *more], input=answer), engine

    return run


CONTROL = {"input": "pedals", "when": {"controller": 80}, "do": "next", "guard": "30 ms"}


def test_what_is_said_and_done(terminal: Any) -> None:
    """Incoming messages are shown in words, the bounce in ms and the entry as TOML; yes writes the entry into the
    rig."""
    result, engine = terminal(answer="y\n")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0] == "Press the switch on pedals three times, a second apart."
    assert lines[1] == "  B0 50 7F   channel 1 general purpose 5 127 (controller 80)"
    assert len([line for line in lines if line.startswith("  ")]) == len(WORN)
    assert "3 presses; the contacts bounced for at most 12.0 ms." in lines
    entry = result.output[result.output.index("[[controls]]") : result.output.index("Add it")]
    read(f'format = 1\n[inputs]\npedals = {{ port = "a" }}\n[[scenes]]\nnumber = 1\nname = "One"\n{entry}', "entry")
    assert lines[-1].endswith("the control works; not saved yet (bayleaf save)")
    assert engine.asked == [{"do": "learn", "control": CONTROL}]


@pytest.mark.parametrize(("answer", "status"), [("n\n", 0), ("\n", 0), ("", 1)])
def test_without_a_yes_nothing_is_written(terminal: Any, answer: str, status: int) -> None:
    """After no, just Return, or a closed terminal, the rig stays as it is."""
    result, engine = terminal(answer=answer)
    assert (result.exit_code, engine.asked) == (status, [])
    if not status:
        assert result.output.splitlines()[-1].endswith("Nothing was changed.")


@pytest.mark.parametrize(
    ("options", "entry"),
    [
        (("--do", "scene", "--scene", "12"), {"do": "scene", "scene": 12}),
        (("--do", "scene", "--scene", "Finale"), {"do": "scene", "scene": "Finale"}),
        (("--do", "mute", "--route", "pads"), {"do": "mute", "route": "pads"}),
        (("--press", "long"), {"when": {"controller": 80, "press": "long"}}),
        (("--do", "clock start"), {"do": "clock start"}),
    ],
)
def test_what_it_is_to_do_can_be_said(terminal: Any, options: tuple[str, ...], entry: dict[str, Any]) -> None:
    """--do, --scene, --route and --press appear in the entry; with --yes nothing is asked."""
    _, engine = terminal("--yes", *options)
    assert engine.asked == [{"do": "learn", "control": {**CONTROL, **entry}}]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--do", "jump"), "--do takes scene, next, back"),
        (("--do", "scene"), "--do scene and --scene go together"),
        (("--scene", "3"), "--do scene and --scene go together"),
        (("--press", "hard"), "--press takes short, long or double"),
    ],
)
def test_what_cannot_be_meant_is_said_before_anybody_presses(
    terminal: Any, options: tuple[str, ...], said: str
) -> None:
    """A wrong option gives one sentence before any input is listened to."""
    result, engine = terminal(*options)
    assert said in str(result.exception)
    assert (result.output, engine.asked) == ("", [])


def test_a_switch_that_sends_nothing(terminal: Any) -> None:
    """If nothing arrives, the command asks whether the switch is on this input."""
    result, _ = terminal(heard=[])
    assert str(result.exception) == "nothing came from pedals that a control can react to; is the switch on this input?"


def test_an_input_that_is_not_there(terminal: Any) -> None:
    """For an input that does not exist, the existing inputs are named."""
    result = CliRunner().invoke(app, ["learn", "organ"]) if terminal()[0] else None
    assert result is not None
    assert str(result.exception) == 'there is no input "organ"; there are: keys, pedals'


def test_a_refusal_is_said(terminal: Any) -> None:
    """If the rig cannot take the entry, the engine's reason is printed unchanged."""
    result, _ = terminal("--yes", refusal="control 2 has this condition already")
    assert str(result.exception) == "control 2 has this condition already"


def test_json_writes_nothing_by_itself(terminal: Any) -> None:
    """--json prints the entry and the measurement, and nothing else."""
    result, engine = terminal("--json")
    assert json.loads(result.output) == {"control": CONTROL, "presses": 3, "bounce_ms": 12.0}
    assert engine.asked == []


# A running engine


@pytest.fixture
def running(tmp_path: Path) -> Iterator[EngineOnFifos]:
    made = EngineOnFifos(tmp_path)
    yield made
    made.close()


def press(running: EngineOnFifos) -> None:
    """Press a worn switch three times: its contacts close, open and close again."""
    for _ in range(3):
        for message in ("B0 50 7F", "B0 50 00", "B0 50 7F"):
            os.write(running.keys, bytes.fromhex(message))
            time.sleep(0.002)  # how long the contacts bounce
        time.sleep(0.3)  # how long a foot stays down before it releases
        os.write(running.keys, bytes.fromhex("B0 50 00"))
        time.sleep(0.3)


@pytest.mark.slow
def test_a_switch_is_learned_and_saved(running: EngineOnFifos) -> None:
    """On yes the entry takes effect at once and is in the file, with comments and layout untouched."""
    running.rig.write_text("# the pit, in October\n" + running.rig.read_text() + "# the end\n")
    before = running.rig.read_text()
    running.start()
    learning = subprocess.Popen(
        [str(BAYLEAF), "learn", "keys", "--do", "next"],
        env=running.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    running.processes.append(learning)
    assert learning.stdout is not None
    assert learning.stdout.readline() == "Press the switch on keys three times, a second apart.\n"
    press(running)
    said, _ = learning.communicate("y\n", timeout=60)
    assert learning.returncode == 0, said
    assert "3 presses; the contacts bounced for" in said
    assert f"the control works; saved to {running.rig}, and read back: it holds the current rig" in said
    press(running)
    assert running.scene() == {"number": 2, "name": "Two"}
    saved = running.rig.read_text()
    assert saved.startswith(before.removesuffix("# the end\n"))
    assert "# the end" in saved
    assert "when  = { controller = 80 }" in saved
