"""Writes recordings to files: .jsonl holds everything, .mid what a sequencer can open.

A .jsonl file is one JSON object a line: first {"format", "rig", "kept", "begins", "monotonic", "scene", "before",
"messages"}, with what was in force already in "before", a list of ["in" or "out", port, message] and ["show", place]
(see `engine/live/recorded_positions` and `engine/core/show_standing`); then by "way"
    "in", "out"  {"at", "clock", "way", "port", "message"},
                 and "words" for what sets a parameter: "channel 1 NRPN 1/8 = 64"
    "scene"      {"at", "clock", "way", "scene", "text"}
    "told"       {"at", "clock", "way", "text"}
    "did"        {"at", "clock", "way", "did"}: what else decided what went out, for `bayleaf rehearse`, as a list:
                 ["start", paces by output, open outputs, outputs at other machines], ["rig file", its text], ["tick"],
                 ["apply", a command's word, its fields, who gave it] (see `engine/core/commands`),
                 ["refused" or "gone", output, message in hexadecimal] by a driver, ["closed", output]
with "at" in seconds from the first event, to the nanosecond, and "clock" as local time; "monotonic" in the first line
is the engine's clock (ns) at the first event.

A .mid file (Standard MIDI Files 1.0, RP-001) is of format 1: a track of tempo, scenes and reports, then one for
each port. It has channel messages and SysEx only; the other system messages would have to be escape events (F7), and
mido neither writes nor reads those.
"""

import json
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final

import mido

from engine import durable_files
from engine.live.recorded_positions import Passed
from engine.live.recorder import RecordedEvent, RecorderSnapshot
from engine.midi.fine_controllers import FineControllers
from engine.midi.kinds import CONTROLLER, SYSEX, is_whole
from engine.midi.message_words import to_hex
from engine.midi.parameter_units import DataEntry
from engine.plurals import counted

_NS: Final = 1_000_000_000
_TEMPO: Final = 1_000_000  # µs a beat: one beat of the file is one second
_TICKS: Final = 10_000  # a beat: one tick is a tenth of a millisecond
_TICK_NS: Final = _NS // _TICKS
_LONGEST_GAP: Final = (
    0x0FFFFFFF  # ticks: the greatest delta time of a Standard MIDI File (RP-001, variable-length quantities)
)


class RecordingFileError(Exception):
    """The recording was not kept; the text says why in one sentence."""


@dataclass(frozen=True)
class RecordingNames:
    """The name of the rig and, by index, of its ports."""

    rig: str
    inputs: Sequence[str]
    outputs: Sequence[str]

    def port(self, past: RecordedEvent) -> str:
        """The name of the port of a message."""
        return (self.inputs if past.way == "in" else self.outputs)[past.number]


def refuse(file: Path) -> None:
    """Raises RecordingFileError if nothing may be written there."""
    if file.suffix.lower() not in _WRITERS:
        raise RecordingFileError(f'a recording cannot be kept in "{file.name}"; end the name in .mid or .jsonl')
    if not file.is_absolute():
        raise RecordingFileError(f'"{file}" is not an absolute path; begin it at the root of the file system')
    if os.path.lexists(file):
        raise _taken(file)


def write(kept: RecorderSnapshot, file: Path, names: RecordingNames) -> str:
    """Write the whole file or nothing; returns the sentence that says what was saved. Raises RecordingFileError."""
    refuse(file)
    events = kept.events()
    left_out = 0
    try:
        with durable_files.new(file) as out:
            left_out = _WRITERS[file.suffix.lower()](out, kept, events, names)
    except FileExistsError:
        raise _taken(file) from None
    except OSError as fault:
        raise RecordingFileError(f"{file} could not be written: {fault.strerror}") from None
    return _sentence(kept, file, _messages(events) - left_out, left_out)


def _taken(file: Path) -> RecordingFileError:
    return RecordingFileError(f"{file} already exists and was not changed; choose another name")


def _messages(events: Iterable[RecordedEvent]) -> int:
    return sum(past.way in ("in", "out") for past in events)


def _sentence(kept: RecorderSnapshot, file: Path, messages: int, left_out: int) -> str:
    since = kept.since if kept.reaches is None else max(kept.since, kept.reaches)
    said = f"saved {counted(messages, 'message')} from the last {_duration(kept.until - since)} in {file}"
    if since > kept.since:
        said += "; the recording goes no further back"
    if left_out:
        said += f"; {_left_out(left_out)}"
    return said


def _left_out(count: int) -> str:
    """Why the file has fewer messages than passed."""
    messages = f"{counted(count, 'system message')} (clock and the like) {'is' if count == 1 else 'are'}"
    return f"{messages} left out; a .jsonl file includes everything"


def _duration(ns: int) -> str:
    """In words after "the last"."""
    minutes, seconds = divmod(round(ns / _NS), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min {seconds} s"
    if minutes and not seconds:
        return "minute" if minutes == 1 else f"{minutes} minutes"
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"


def _clock(kept: RecorderSnapshot, at: int) -> str:
    """A monotonic time (ns) as local time, with its offset from UTC."""
    seconds = kept.clock - (kept.until - at) / _NS
    return datetime.fromtimestamp(seconds).astimezone().isoformat(timespec="milliseconds")


# One JSON object a line


def _write_lines(out: IO[bytes], kept: RecorderSnapshot, events: Sequence[RecordedEvent], names: RecordingNames) -> int:
    """Write everything; returns the number of messages left out: 0."""
    scene = kept.scene()
    header = {
        "format": "bayleaf recording 2",
        "rig": names.rig,
        "kept": _clock(kept, kept.until),
        "begins": _clock(kept, events[0].at) if events else None,
        "monotonic": events[0].at if events else None,
        "scene": {"number": scene[0], "name": scene[1]} if scene else None,
        "before": [_earlier(names, each) for each in kept.in_force()],
        "messages": _messages(events),
    }
    out.write(_line(header))
    units = _UnitValues()
    for past in events:
        time = {"at": round((past.at - events[0].at) / _NS, 9), "clock": _clock(kept, past.at), "way": past.way}
        out.write(_line(time | _content(past, names) | units.of(past)))
    return 0


def _earlier(names: RecordingNames, passed: Passed) -> list[Any]:
    if isinstance(passed, dict):
        return ["show", passed]
    port, message = passed
    way, name = ("in", names.inputs[port]) if port >= 0 else ("out", names.outputs[~port])
    return [way, name, to_hex(message)]


class _UnitValues:
    """What parameters and 14-bit controllers are set to, on each channel of each port."""

    def __init__(self) -> None:
        self._entries: defaultdict[tuple[str, int, int], DataEntry] = defaultdict(DataEntry)
        self._fine: defaultdict[tuple[str, int, int], FineControllers] = defaultdict(FineControllers)

    def of(self, past: RecordedEvent) -> dict[str, str]:
        """The words for a message that sets a parameter, or the LSB of a controller; none for all else."""
        message = past.message
        if past.way not in ("in", "out") or len(message) != 3 or message[0] & 0xF0 != CONTROLLER:
            return {}
        where = past.way, past.number, message[0] & 0x0F
        turned = [each[where].turn(message[1], message[2]) for each in (self._entries, self._fine)]
        words = next((each for each in turned if each is not None), None)
        return {"words": f"channel {where[2] + 1} {words}"} if words is not None else {}


def _content(past: RecordedEvent, names: RecordingNames) -> dict[str, Any]:
    if past.way == "scene":
        return {"scene": past.number, "text": past.text}
    if past.way == "told":
        return {"text": past.text}
    if past.way == "did":
        return {"did": json.loads(past.text)}
    return {"port": names.port(past), "message": to_hex(past.message)}


def _line(value: dict[str, Any]) -> bytes:
    return json.dumps(value, ensure_ascii=False).encode("utf-8", "backslashreplace") + b"\n"


# A Standard MIDI File


class _Track:
    """A track whose messages are made while it is written: a full recorder holds a million of them."""

    def __init__(self, head: Sequence[Any], begins: int, events: Iterable[RecordedEvent]) -> None:
        self._head = head
        self._begins = begins
        self._events = events

    def __iter__(self) -> Iterator[Any]:
        yield from self._head
        before = 0
        for past in self._events:
            tick = round((past.at - self._begins) / _TICK_NS)
            gap, before = tick - before, tick
            while gap > _LONGEST_GAP:
                yield mido.MetaMessage("text", text="", time=_LONGEST_GAP)
                gap -= _LONGEST_GAP
            message = _for_file(past)
            message.time = gap
            yield message


def _write_midi(out: IO[bytes], kept: RecorderSnapshot, events: Sequence[RecordedEvent], names: RecordingNames) -> int:
    """Write all that the file can hold; returns the number of messages left out."""
    ports: dict[tuple[str, int], list[RecordedEvent]] = {}
    signs = []
    left_out = 0
    for past in events:
        if past.way in ("scene", "told"):
            signs.append(past)
        elif past.way == "did":
            continue
        elif past.message[0] <= SYSEX and is_whole(past.message):
            ports.setdefault((past.way, past.number), []).append(past)
        else:
            left_out += 1
    begins = events[0].at if events else kept.until
    tracks = [_Track(_head(kept, begins, left_out, names), begins, signs)]
    for (way, _), passed in sorted(ports.items()):
        name = mido.MetaMessage("track_name", name=_text(f"{way} {names.port(passed[0])}"))
        tracks.append(_Track([name], begins, passed))
    mido.MidiFile(type=1, ticks_per_beat=_TICKS, tracks=tracks).save(file=out)
    return left_out


def _head(kept: RecorderSnapshot, begins: int, left_out: int, names: RecordingNames) -> list[Any]:
    head = [
        mido.MetaMessage("track_name", name=_text(names.rig)),
        mido.MetaMessage("set_tempo", tempo=_TEMPO),
        mido.MetaMessage("text", text=_text(f"begins {_clock(kept, begins)}")),
    ]
    if left_out:
        head.append(mido.MetaMessage("text", text=_text(_left_out(left_out))))
    if scene := kept.scene():
        head.append(mido.MetaMessage("marker", text=_text(_scene_words(*scene))))
    return head


def _for_file(past: RecordedEvent) -> Any:
    if past.message:
        return mido.Message.from_bytes(past.message)
    text = _scene_words(past.number, past.text) if past.way == "scene" else past.text
    return mido.MetaMessage("marker", text=_text(text))


def _scene_words(number: int, name: str) -> str:
    return f"scene {number} {name}"


def _text(text: str) -> str:
    """UTF-8 bytes as Latin-1 text, since mido writes Latin-1 unless the whole program is set otherwise."""
    return text.encode("utf-8", "backslashreplace").decode("latin-1")


_WRITERS: Final = {".mid": _write_midi, ".jsonl": _write_lines}
