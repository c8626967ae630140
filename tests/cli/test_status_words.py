"""What `bayleaf status` says in words."""

import json
from typing import Any

import pytest
from typer.testing import CliRunner

from engine.cli.app import app
from engine.cli.status_words import network_faults_in_words
from engine.core.commands import MuteRoute, RecallScene
from engine.live.socket import client
from engine.live.socket.status import status
from engine.which_build import build_in_words
from tests.support.small_show import RIG, Bench

SYNC = """
[sync.clock]
bpm = 96
to = "strings"
[sync.timecode]
start = "00:01:02:03"
to = "brass"
[[routes]]
name = "pads"
from = "keys"
to = "brass"
"""


def _machine(name: str, said_badly: int = 0, **faults: int) -> dict[str, Any]:
    return {"name": name, "garbled": said_badly, "faults": faults or None}


def test_what_went_wrong_on_the_network_is_shown() -> None:
    """Faults of the link and of the watchdog here, what a machine said badly, and what it counts itself."""
    machines = [_machine("desk"), _machine("left", 12, garbled=1, link=0, stuck=2, own=3)]
    found = {"machine": "desk", "faults": 1, "stuck": 2, "machines": machines}
    assert [*network_faults_in_words(found)] == [
        "desk: 1 fault of the link, its loop was stuck 2 times",
        "left sent nonsense 12 times; it was ignored",
        "left: orders or claims made no sense once, its loop was stuck 2 times, 3 faults of Bayleaf itself",
    ]


def test_nothing_is_shown_where_nothing_went_wrong() -> None:
    """Nor where nothing is known of another machine."""
    found = {"machine": "desk", "faults": 0, "stuck": 0, "machines": [_machine("desk"), _machine("left")]}
    assert [*network_faults_in_words(found)] == []


@pytest.mark.parametrize("options", [("status",), ("status", "--all")], ids=" ".join)
def test_the_handbook_s_list_of_what_status_shows(monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...]) -> None:
    """Scene, place in the set list, what is wrong (a missing port, a loop, a rejected rig file), each port's state and
    messages, the sounds, tempo and time code, latency, muted routes, priority, recorder; with --json all that the
    engine said."""
    bench = Bench(RIG + SYNC)
    bench.show.apply(RecallScene(1), "shell")
    bench.play(0, "90 3C 40")
    bench.outputs["brass"].unplug("the cable is out")
    bench.show.check_outputs()
    bench.show.engine.state.loops.muted.add((1, 0))
    bench.show.apply(MuteRoute("pads"), "shell")
    bench.show.refused = "pit.toml:22: there is no input"
    said = status(bench.show)
    monkeypatch.setattr(client, "ask", lambda *_: {"status": json.loads(json.dumps(said))})
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("LINES", "50")
    shown = " ".join(CliRunner().invoke(app, options).output.split())
    for words in (
        "Lantern Street pit band: scene 1 Overture",
        "place 1 of 3",
        "keys open 1",
        "brass missing",
        "! output brass is missing: the cable is out",
        "string-machine: ",
        "clock: 96 bpm",
        "time code: 00:01:02:03",
        "from reading a message to handing it on: p50",
        "! muted: what goes to strings comes back at pedals, a loop",
        "muted routes: pads",
        f"{build_in_words()}; {said['scheduling']}",
        "recorder: ",
        "pit.toml:22: there is no input",
    ):
        assert words in shown
    printed = json.loads(CliRunner().invoke(app, ["status", "--json"]).output)
    assert {key: printed[key] for key in said} == json.loads(json.dumps(said))
