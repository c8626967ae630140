"""Flight recordings (.jsonl, written by `engine/live/recording_files`), read for a rehearsal."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.core.command_codec import decode
from engine.core.commands import Command
from engine.core.rules import RULES, RULES_1, Rules
from engine.midi.kinds import is_whole
from engine.offline import recording_format_1
from engine.offline.earlier_show import Earlier, read_earlier

FORMAT_1: Final = "bayleaf recording 1"
FORMAT_2: Final = "bayleaf recording 2"
_REMEDY: Final = "make one with: bayleaf keep NAME.jsonl (a .mid file holds no commands)"
_S: Final = 1_000_000_000


class Happened(NamedTuple):
    """One line: time (ns of the engine's clock), "in", "out" or "did", the port's name, the message.

    `did`: what was done that is not a command, its word first; `command`: the command that was given, and by whom.
    """

    at: int
    way: str
    port: str = ""
    message: bytes = b""
    did: tuple[Any, ...] = ()
    command: Command | None = None
    who: str = ""


@dataclass(frozen=True)
class FlightRecording:
    """Everything recorded, in order. `scene`: number of the scene at the beginning, None if there was none.

    `rules`: those of the engine that made it; `before`: what was in force already, if the recording says so.
    """

    begins: int
    scene: int | None
    happened: list[Happened]
    rules: Rules = RULES
    before: tuple[Earlier, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether it reaches back to the start of the engine, so that nothing is missing that affects the output."""
        return bool(self.happened) and self.happened[0].did[:1] == ("start",)

    @property
    def exact(self) -> bool:
        """Whether it holds the commands with their times; recordings of early versions do not."""
        return any(each.way == "did" for each in self.happened)


class FlightRecordingError(Exception):
    """The recording cannot be read; the text says why in one sentence, with the line."""


def read_recording(path: Path) -> FlightRecording:
    """Raises FlightRecordingError."""
    try:
        with path.open(encoding="utf-8") as file:
            lines = _lines(path, file)
            head = next(lines, (1, {}))[1]
            form = head.get("format")
            if form not in (FORMAT_1, FORMAT_2):
                raise FlightRecordingError(f"{path} is not a flight recording; {_REMEDY}")
            begins = head.get("monotonic") or 0
            scene = head.get("scene")
            if type(begins) is not int or not (scene is None or isinstance(scene, dict)):
                raise FlightRecordingError(f"{path}:1: monotonic is a whole number, scene an object or null")
            happened = [each for line in lines for each in _happened(path, form == FORMAT_1, begins, *line)]
            rules = RULES_1 if form == FORMAT_1 else RULES
            number = scene.get("number") if scene else None
            return FlightRecording(begins, number, happened, rules, _before(path, head.get("before", [])))
    except OSError as fault:
        raise FlightRecordingError(f"{path} cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise FlightRecordingError(f"{path} is not a flight recording; {_REMEDY}") from None


def _before(path: Path, found: object) -> tuple[Earlier, ...]:
    try:
        return read_earlier(found)
    except ValueError as fault:
        raise FlightRecordingError(f"{path}:1: {fault}") from None


def _lines(path: Path, file: Any) -> Iterator[tuple[int, dict[str, Any]]]:
    for number, line in enumerate(file, 1):
        try:
            found = json.loads(line)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise FlightRecordingError(
                f"{path}:{number}: this line is not a JSON object, as each line of a flight recording must be"
            )
        yield number, found


def _happened(path: Path, old: bool, begins: int, number: int, line: dict[str, Any]) -> Iterator[Happened]:
    """`old`: the recording is of format 1."""
    try:
        seconds, way = line["at"], line["way"]
        if not isinstance(seconds, int | float):  # a text times a billion would fill the memory
            raise TypeError
        at = begins + round(seconds * _S)
        if way in ("in", "out"):
            message, port = bytes.fromhex(line["message"]), line["port"]
            if not is_whole(message) or not isinstance(port, str):
                raise ValueError
            yield Happened(at, way, port, message)
        elif way == "did":
            what, *details = line["did"]
            if not isinstance(what, str):
                raise ValueError
            yield from _done(at, what, details, old)
    except _CommandError as fault:
        raise FlightRecordingError(f"{path}:{number}: {fault}") from None
    except (LookupError, TypeError, ValueError, OverflowError):
        raise FlightRecordingError(
            f"{path}:{number}: a line of a flight recording needs at, way, port and message"
        ) from None


class _CommandError(Exception):
    """The command of a line cannot be read; the text says why."""


def _done(at: int, what: str, details: list[Any], old: bool) -> Iterator[Happened]:
    try:
        if old:
            did, given = recording_format_1.translate(what, details)
        elif what == "apply":
            word, fields, who = details
            did, given = (), (decode(word, fields), str(who))
        else:
            did, given = (what, *details), None
        _check(did)
    except (LookupError, TypeError, ValueError, AttributeError) as fault:
        raise _CommandError(f'"{what}" cannot be read: {fault}') from None
    if given is not None:
        yield Happened(at, "did", command=given[0], who=given[1])
    elif did:
        yield Happened(at, "did", did=did)


def _check(did: tuple[Any, ...]) -> None:
    """Raises an error if a driver is said to have refused what is no message of an output."""
    if did[:1] in (("refused",), ("gone",)):
        _, output, message = did
        if not isinstance(output, str):
            raise TypeError("an output has a name")
        bytes.fromhex(message)
