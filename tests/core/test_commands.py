"""Commands: each is carried out, and comes back unchanged from a recording. (Our own format; no outside source.)"""

import json
from dataclasses import Field, fields
from typing import Any, cast

import pytest

from engine.core.cable.speed import CableSpeed
from engine.core.command_codec import decode, encode
from engine.core.commands import (
    COMMANDS,
    AdoptRig,
    Command,
    InputCommand,
    OutputCommand,
    SendMessages,
)
from engine.core.compiled import compile_rig
from engine.core.control.setlist import ShowPosition
from engine.core.timing.clock_stand import ClockStand
from engine.rig.read.load import read
from tests.support.pit_engine import PORTS, SCENES, engine

#: values for the fields of commands, by name; text for all others
VALUES: dict[str, Any] = {
    "input": "keys",
    "output": "strings",
    "entry": 2,
    "messages": (b"\xb0\x07\x40",),
    "position": ShowPosition(2, "", 1),
    "player": "",
    "players": (("anna", ShowPosition(1), 2), ("ben", ShowPosition(2, "", 1, "", -1), None)),
    "loaded": 2,
    "remote": (),
    "on": True,
    "speed": CableSpeed(320_000, 3_000_000, 1, True),
    "owed": (b"\x80\x3c\x40",),
    "channel": 3,
    "key": 60,
    "length": 500,
    "velocity": 64,
    "step": 1,
    "muted": (),
    "channels": (("lead", 11),),
    "age": 7,
    "time": 40_000_000,
    "clock": ClockStand(97.5, 24, None, False),
    "timecode": ("01:00:00:00", 40),
    "value": 96.5,
}


def _fields(kind: type[Command]) -> tuple[Field[Any], ...]:
    return fields(cast(Any, kind))  # the base class is not a dataclass, so the type does not say that each command is


def example(kind: type[Command]) -> Command:
    """A command of this kind."""
    values = {each.name: VALUES.get(each.name, "1") for each in _fields(kind) if not each.metadata}
    if kind is SendMessages:
        values["messages"] = (("strings", b"\xf0\x7d\xf7"), ("nowhere", b"\xf8"))
    return kind(**values)


@pytest.mark.parametrize("word", COMMANDS)
def test_each_command_is_carried_out(word: str) -> None:
    """The engine handles every command, and answers each by its word, except a wake-up, which resends."""
    command = example(COMMANDS[word])
    if isinstance(command, AdoptRig):
        rig = read(PORTS.replace("WIRE", "fast") + SCENES, "test")
        command = AdoptRig("", (), compile_rig(rig))
    outcome = engine().apply(1, command, "test").outcome
    assert outcome.do == ("resend" if word == "awake" else word)
    assert outcome.source == "test"


@pytest.mark.parametrize("word", COMMANDS)
def test_each_command_comes_back_from_json(word: str) -> None:
    """A recorded command is JSON (RFC 8259) and is read back as the same command, though JSON has no tuples."""
    command = example(COMMANDS[word])
    assert decode(word, json.loads(json.dumps(encode(command)))) == command


@pytest.mark.parametrize(
    "word", [word for word, kind in COMMANDS.items() if issubclass(kind, InputCommand | OutputCommand)]
)
def test_a_port_that_the_rig_does_not_have_is_passed_over(word: str) -> None:
    """A recording may be replayed with another rig."""
    values = {**encode(example(COMMANDS[word])), "input": "nowhere", "output": "nowhere"}
    known = {each.name for each in _fields(COMMANDS[word])}
    command = decode(word, {key: value for key, value in values.items() if key in known})
    assert engine().apply(1, command).deliveries == []


@pytest.mark.parametrize(
    ("word", "values", "what"),
    [
        ("dance", {}, 'there is no command "dance"'),
        ("scene", {}, "scene missing"),
        ("scene", {"scene": 1.5}, "found 1.5, allowed: int or str"),
        ("scene", {"scene": True}, "found True, allowed: int or str"),
        ("scene", {"scene": 1, "fast": True}, "allowed: an object with player, scene"),
        ("scene", [1], "allowed: an object with player, scene"),
        ("send", {"output": "strings", "messages": ["B0 0"]}, "non-hexadecimal"),
        ("send", {"output": "strings", "messages": "B0"}, "found 'B0', allowed: a list"),
        ("resume", {"position": []}, "found 0 values, allowed: 1"),
        ("messages", {"messages": [["strings"]]}, "found 1 values, allowed: 2"),
    ],
)
def test_what_cannot_be_a_command_is_refused(word: str, values: Any, what: str) -> None:
    """A recording edited by hand is refused with what is wrong."""
    with pytest.raises(ValueError, match=what):
        decode(word, values)
