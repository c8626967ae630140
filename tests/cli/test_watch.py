"""`bayleaf watch`: what is shown of what passes, in which colour."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from engine.cli.commands import watch as command
from engine.cli.watched_kinds import COLOURS, KINDS, kind_of_event
from engine.live.socket import client
from tests.support.bayleaf_command import Bayleaf

SYNC = {"tempo": 120.0, "clock_from": "internal", "timecode": None, "timecode_runs": False}
NOTE = "note on C4 velocity 64"
EVENTS = (
    ("in", "keys", "90 3C 40"),
    ("out", "strings", "94 3C 40"),
    ("in", "keys", "B0 07 64"),
    ("in", "pedals", "C0 04"),
    ("in", "keys", "F8"),
    ("out", "strings", "F0 7D 01 F7"),
    ("told", "pedals", None),
)


@pytest.fixture(autouse=True)
def _passing(monkeypatch: pytest.MonkeyPatch) -> None:
    events = [
        {"at": 0, "way": way, "port": port, "message": hex, "text": "scene 5 Finale"} for way, port, hex in EVENTS
    ]

    def watched(name: str) -> Iterator[dict[str, Any]]:
        yield {"events": events, "sync": SYNC, "middle_c": "C4"}

    ports = {"inputs": [{"name": "keys"}, {"name": "pedals"}], "outputs": [{"name": "strings"}]}
    monkeypatch.setattr(client, "watch", watched)
    monkeypatch.setattr(client, "ask", lambda *_: {"status": ports})


def shown(bayleaf: Bayleaf, *options: str) -> list[str]:
    """The lines without their time of day."""
    said = bayleaf("watch", *options)
    assert (said.status, said.err) == (0, "")
    return [" ".join(line.split()[1:]) for line in said.out.splitlines()]


def test_everything_is_shown_and_the_clock_in_one_line(bayleaf: Bayleaf) -> None:
    """Without options every message but the clock has a line, and the tempo one."""
    lines = shown(bayleaf)
    assert len(lines) == len(EVENTS)
    assert "in keys channel 1 note on C4 velocity 64" in lines
    assert lines[-1] == "time 120 bpm, internal clock, running"


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (("--port", "pedals"), ["in pedals channel 1 program 5", "---- pedals scene 5 Finale"]),
        (("--only", "notes"), [f"in keys channel 1 {NOTE}", f"out strings channel 5 {NOTE}"]),
        (("--only", "programs, clock"), ["in pedals channel 1 program 5", "time 120 bpm, internal clock, running"]),
        (
            ("--only", "notes,sysex", "--port", "strings"),
            [f"out strings channel 5 {NOTE}", "out strings SysEx 4 bytes: F0 7D 01 F7"],
        ),
        (("--only", "notices"), ["---- pedals scene 5 Finale"]),
    ],
)
def test_ports_and_kinds_can_be_chosen(bayleaf: Bayleaf, options: tuple[str, ...], expected: list[str]) -> None:
    """--port and --only leave out the rest; with both, a line is of such a port and of such a kind."""
    assert shown(bayleaf, *options) == expected


def test_json_can_be_chosen_from_as_well(bayleaf: Bayleaf) -> None:
    """With --json, --only clock gives the clock's own messages and the tempo."""
    found = [json.loads(line) for line in bayleaf("watch", "--json", "--only", "clock").out.splitlines()]
    assert [each.get("message", each["way"]) for each in found] == ["F8", "time"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--only", "note"), 'there is no kind "note"; did you mean "notes"? there are: notes, pressure, controllers'),
        (("--port", "pedal"), 'there is no port "pedal"; did you mean "pedals"? there are: keys, pedals, strings'),
    ],
)
def test_a_misspelt_kind_or_port(bayleaf: Bayleaf, options: tuple[str, ...], words: str) -> None:
    """It is answered with the nearest and with all of them."""
    said = bayleaf("watch", *options)
    assert said.status == 1
    assert said.err.startswith(words)


def test_each_kind_has_its_colour_on_a_terminal(bayleaf: Bayleaf, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the terminal has colours, a line is in that of its kind (SGR, ECMA-48 8.3.117); in a pipe it is plain."""
    assert COLOURS.keys() == set(KINDS)
    assert "\033" not in bayleaf("watch").out
    monkeypatch.setattr(command, "has_colour", lambda: True)
    note, *_ = bayleaf("watch").out.splitlines()
    assert note.startswith("\033[32m")
    assert note.endswith("\033[0m")
    assert "\033" not in bayleaf("watch", "--json").out


@pytest.mark.parametrize("variables", [{"FORCE_COLOR": "1"}, {"FORCE_COLOR": "1", "NO_COLOR": "1"}, {}], ids=str)
def test_nobody_gets_colours_who_asked_for_none(
    bayleaf: Bayleaf, monkeypatch: pytest.MonkeyPatch, variables: dict[str, str]
) -> None:
    """NO_COLOR is obeyed (no-color.org), and a pipe has none unless FORCE_COLOR says so."""
    for name in ("FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert ("\033" in bayleaf("watch").out) == (variables == {"FORCE_COLOR": "1"})


def test_every_message_has_a_kind() -> None:
    """Whatever the status byte, there is a kind for it."""
    for status in range(0x80, 0x100):
        assert kind_of_event({"message": f"{status:02X}"}) in KINDS
