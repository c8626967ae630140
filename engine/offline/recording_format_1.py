"""What recordings of format 1 say that the show did, as commands: those of versions before commands were recorded."""

import json
from collections.abc import Callable, Iterable
from typing import Any, Final

from engine.cluster.pure.replica import show_command, time_command
from engine.cluster.pure.words import ShowPlace, TimePlace, read_word
from engine.core import commands as do
from engine.core.cable.speed import CableSpeed
from engine.core.command_codec import decode
from engine.core.control.setlist import ShowPosition

#: a command and who gave it; None for what is to be left out
Given = tuple[do.Command, str] | None


def translate(what: str, details: Iterable[Any]) -> tuple[tuple[Any, ...], Given]:
    """What an entry is in the present format: what was done, or the command that was given.

    Raises ValueError, TypeError or LookupError if the entry is not as it should be.
    """
    if what in _COMMANDS:
        return (), _COMMANDS[what](*details)
    return (_RENAMED.get(what, what), *details), None


def _command(word: str, value: int | str | None, who: str) -> Given:
    return decode(word, {} if value is None else {word: value}), who


def _sync(part: str, what: str, value: float | str | None) -> Given:
    return decode(part, {"what": what, "value": value}), "shell"


def _mute(route: str, on: bool, who: str) -> Given:
    return (do.MuteRoute if on else do.UnmuteRoute)(route), who


def _send(listed: list[list[str]]) -> Given:
    return do.SendMessages(tuple((output, bytes.fromhex(message)) for output, message in listed)), ""


def _there(output: str, pace: list[int] | None, owed: list[str]) -> Given:
    speed = CableSpeed(pace[0], pace[1], pace[2]) if pace else None
    return do.OutputThere(output, speed, tuple(bytes.fromhex(message) for message in owed)), ""


def _follow(word: dict[str, Any]) -> Given:
    try:
        return show_command(read_word(ShowPlace, json.dumps(word).encode())), ""
    except ValueError:
        return None  # it was refused then


def _follow_time(age: int, word: dict[str, Any]) -> Given:
    try:
        return time_command(read_word(TimePlace, json.dumps(word).encode()), age), ""
    except ValueError:
        return None  # it was refused then


_RENAMED: Final = {"output closed": "closed"}
_COMMANDS: Final[dict[str, Callable[..., Given]]] = {
    "rig": lambda text, remote=(): (do.AdoptRig(text, tuple(remote)), ""),
    "command": _command,
    "sync": _sync,
    "mute": _mute,
    "begin": lambda: (do.Begin(), ""),
    "send": _send,
    "sound": lambda output, channel, key, length: (do.PlayTestNote(output, channel, key, length), ""),
    "keep back": lambda source, on: (do.KeepSysexBack(source, on), ""),
    "finish": lambda: (do.Finish(), ""),
    "awake": lambda: (do.WakeUp(), "wake-up"),
    "resume": lambda position: (do.ResumePosition(ShowPosition(*position)), ""),
    "led by": lambda machine: (do.FollowLeader(machine), ""),
    "follow": _follow,
    "follow time": _follow_time,
    "input there": lambda source: (do.InputThere(source), ""),
    "input lost": lambda source: (do.InputLost(source), ""),
    "output there": _there,
    "output left": lambda output: (do.OutputLeft(output), ""),
    "output lost": lambda output: (do.OutputLost(output), ""),
}
