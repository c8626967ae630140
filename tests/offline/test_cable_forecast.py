"""What `check` predicts for the cables: how much each scene can send on them, and where two clocks could meet."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from engine.cli.app import app
from engine.offline.cable_forecast import loads, warnings
from engine.rig.read.load import read

INPUTS = "abcdefgh"


def rig(players: int = 1, sync: str = "", more: str = "", cable: str = "din", through: str = "") -> str:
    """This number of inputs into one output in one scene, and a second scene without routes."""
    names = ", ".join(f'"{name}"' for name in INPUTS[:players])
    ports = "\n".join(f'{name} = {{ port = "in {name}" }}' for name in INPUTS)
    return f"""
format = 1
[inputs]
{ports}
[outputs]
strings = {{ port = "out 1", wire = "{cable}" }}
drums = {{ port = "out 2", wire = "{cable}" }}
[[scenes]]
number = 1
name = "Tutti"
routes = [ {{ from = [{names}], to = "strings", through = [ {through} ] }} ]
[[scenes]]
number = 2
name = "Tacet"
{more}
{sync}
"""


def notes(text: str, **settings: Any) -> list[str]:
    return list(warnings(read(text, "test"), **settings))


CLOCK = '[sync.clock]\nbpm = {bpm}\nto = "strings"\n'
UNCLOCKED = '{ filter = "clock", block = true }'
CODE = '[sync.timecode]\nrate = "{rate}"\nto = ["strings", "drums"]\n'


@pytest.mark.parametrize(("bpm", "bytes_a_second"), [(20, 8), (120, 48), (300, 120)])
def test_a_clock_costs_its_bytes(bpm: int, bytes_a_second: int) -> None:
    """24 one-byte clocks per quarter note (MIDI 1.0 p. 30): 48 bytes per second at 120 bpm, on its outputs only."""
    found = {(load.number, load.output): load for load in loads(read(rig(sync=CLOCK.format(bpm=bpm)), "test"))}
    assert found[1, "strings"].clock == found[2, "strings"].clock == bytes_a_second
    assert found[1, "drums"].clock == 0


@pytest.mark.parametrize(("rate", "bytes_a_second"), [("24", 192), ("25", 200), ("29.97 drop", 240), ("30", 240)])
def test_time_code_costs_its_bytes(rate: str, bytes_a_second: int) -> None:
    """Four quarter frames of two bytes per frame: 7.68 per cent of the cable at 30 frames (RP-004 p. 4)."""
    found = {(load.number, load.output): load for load in loads(read(rig(sync=CODE.format(rate=rate)), "test"))}
    assert found[1, "strings"].timecode == found[2, "drums"].timecode == bytes_a_second


def test_playing_counts_each_input_once() -> None:
    """Each player in a scene, including those in every scene, counts once at the stated density of three-byte messages,
    even if routed twice; a scene without routes costs nothing."""
    twice = '[[routes]]\nfrom = ["a", "h"]\nto = "strings"\n'
    found = {load.number: load for load in loads(read(rig(2, more=twice), "test"), 100) if load.output == "strings"}
    assert found[1].playing == 3 * 100 * 3  # a, b, h
    assert found[2].playing == 2 * 100 * 3
    assert {load.playing for load in loads(read(rig(2), "test"), 100) if load.number == 2} == {0}


def test_a_cable_that_can_be_too_full_is_reported() -> None:
    """A cable carries 3,125 bytes per second (MIDI 1.0 p. 1): one byte more is reported, with scene and output."""
    assert notes(rig(1), density=1041) == []
    (text,) = notes(rig(1), density=1042)
    assert text.startswith("scene 1 Tutti: strings may need 100% of its cable")
    assert "playing 3126 of 3125 bytes per second" in text
    assert "thin or strip" in text


def test_clock_and_time_code_are_reckoned_with() -> None:
    """Playing that just fits by itself no longer fits beside the rig's clock and time code."""
    sync = CLOCK.format(bpm=120) + CODE.format(rate="30")
    assert notes(rig(6, through=UNCLOCKED), density=173) == []  # 3,114 bytes
    (text,) = notes(rig(6, sync, through=UNCLOCKED), density=173)
    assert "clock 48, time code 240, playing 3114 of 3125" in text


def test_a_fast_output_is_not_reported() -> None:
    """An output that is not paced cannot be too full."""
    assert notes(rig(8, cable="fast", through=UNCLOCKED), density=10_000) == []
    assert list(loads(read(rig(8, cable="fast"), "test"))) == []


def test_two_clocks_that_meet_are_reported() -> None:
    """Where clocks of two inputs meet at an output is reported once for all scenes, with what the engine does about
    it."""
    (text,) = notes(rig(2), density=0)
    assert text == "clocks of a, b may meet at strings; it follows the first one until that stops"
    assert notes(rig(1), density=0) == []


def test_a_routed_clock_beside_the_rigs_own_is_reported() -> None:
    """An output of [sync.clock] to which a route also brings a clock is reported."""
    (text,) = notes(rig(1, CLOCK.format(bpm=120)), density=0)
    assert text.startswith("strings gets the rig's clock; the clock of a, which is routed there, is blocked")


@pytest.mark.parametrize("through", [UNCLOCKED, '{ filter = "strip", kinds = ["clock"] }'])
def test_clocks_that_a_filter_stops_are_not_reported(through: str) -> None:
    """If a filter blocks the clocks, there is no note."""
    assert notes(rig(2, through=through), density=0) == []


@pytest.mark.parametrize("place", ['port = "Synth*"', 'device = "/dev/serial0"'])
def test_an_instrument_that_plays_itself_is_reported(place: str) -> None:
    """Keys may play their own sounds through a route; the note says what else to do (MIDI 1.0 p. 24: Local Control
    off). A keyboard routed elsewhere gets no note."""
    ports = f"format = 1\n[inputs]\nkeys = {{ {place} }}\n[outputs]\nsounds = {{ {place} }}\nbass = {{ port = 'b' }}\n"
    scene = '[[scenes]]\nnumber = {0}\nname = "{0}"\nroutes = [ {{ from = "keys", to = "{1}" }} ]\n'
    (text,) = notes(ports + scene.format(1, "sounds") + scene.format(2, "bass") + scene.format(3, "sounds"))
    assert text == "keys plays its own instrument through sounds; turn local control off at that instrument"


def test_check_prints_the_notes_and_is_content(tmp_path: Path) -> None:
    """`check` prints each finding as a note, or as JSON with the assumed density; a rig with notes is still valid."""
    file = tmp_path / "rig.toml"
    file.write_text(rig(8), encoding="utf-8")
    said = CliRunner().invoke(app, ["check", str(file), "--density", "200"])
    assert said.exit_code == 0
    assert "note: scene 1 Tutti: strings may need 154% of its cable" in said.output
    assert "note: clocks of a, b, c, d, e, f, g, h may meet at strings" in said.output
    found = json.loads(CliRunner().invoke(app, ["check", str(file), "--density", "0", "--json"]).output)
    assert found["density"] == 0
    assert [text[:9] for text in found["warnings"]] == ["clocks of"]


def test_check_counts_running_status(tmp_path: Path) -> None:
    """Bank and program on a channel: 8 bytes in 2.56 ms, with running status 7 in 2.24 ms (MIDI 1.0 p. A-1)."""
    step = 'burst = [ { output = "strings", channel = 1, bank = [1, 2], program = 5 } ]\n[[scenes]]\nnumber = 2'
    text = rig().replace("[[scenes]]\nnumber = 2", step)
    for cable, bytes_, ms in (("", 8, 2.56), (", running_status = true", 7, 2.24)):
        file = tmp_path / "rig.toml"
        file.write_text(text.replace('wire = "din"', 'wire = "din"' + cable), encoding="utf-8")
        (row,) = json.loads(CliRunner().invoke(app, ["check", str(file), "--json"]).output)["bursts"]
        assert (row["bytes"], row["ms"]) == (bytes_, pytest.approx(ms))
