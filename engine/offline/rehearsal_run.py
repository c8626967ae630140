"""The whole rehearsal: from a rig and a song, or a recording, to the report and the files."""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine.midi.message_words import describe, to_hex
from engine.offline.flight_recording import FlightRecording
from engine.offline.output_file import output_file
from engine.offline.output_folder import PAGE, file_names
from engine.offline.rehearsal import Performance, Rehearsal
from engine.offline.replay import Replay, ReplayResult
from engine.offline.report_data import account
from engine.offline.report_page import page
from engine.offline.song import Song
from engine.offline.song_time import clock
from engine.rig.models.rig import Rig


@dataclass(frozen=True)
class Rehearsed:
    """A performance, its report, and the content of the outputs' files by name."""

    done: Performance
    report: dict[str, Any]
    outputs: dict[str, bytes]

    def files(self, report: dict[str, Any]) -> dict[str, bytes]:
        """All files except report.json, which holds this report."""
        return {**self.outputs, PAGE: page(report, self.done).encode("utf-8", "backslashreplace")}


def rehearse(rig: Rig, song: Song, scene: int | str | None, progress: Callable[[float], None]) -> Rehearsed:
    """Play a song through a rig. Raises KeyError if there is no such scene."""
    with _without_garbage_collector():
        return produced(Rehearsal(rig, progress).play(song, scene), song.name)


def replay(
    rig: Rig, text: str, folder: Path, recording: FlightRecording, name: str, progress: Callable[[float], None]
) -> Rehearsed:
    """Play a flight recording through a rig; `text` and `folder`: the text of the rig file, and its folder.

    The report also says how far the output is the same as recorded.
    """
    with _without_garbage_collector():
        found = Replay(rig, text, progress, folder).run(recording)
        found.done.remarks[:0] = _how_far(found, recording)
        return produced(found.done, name, _compared(found, recording))


def _compared(found: ReplayResult, recording: FlightRecording) -> dict[str, Any]:
    return {
        "reaches_back_to_the_start": recording.whole,
        "same": found.same,
        "first_differences": [
            {
                "output": odd.output,
                "at": round((odd.at - recording.begins) / 1e9, 9),
                "then": to_hex(odd.then) if odd.then else None,
                "now": to_hex(odd.now) if odd.now else None,
            }
            for odd in found.odd
        ],
    }


@contextmanager
def _without_garbage_collector() -> Iterator[None]:
    """No garbage collection meanwhile: the records have no cycles, and searching them takes a fifth of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _how_far(found: ReplayResult, recording: FlightRecording) -> Iterator[str]:
    if not any(each.way in ("in", "out") for each in recording.happened):
        yield "the recording holds no messages; nothing came in or went out in that time"
        return
    if not found.odd:
        yield f"identical to the recording, byte for byte: {found.same:,} messages"
        return
    yield f"{found.same:,} messages are identical to the recording, byte for byte"
    if not recording.whole:
        yield "the recording does not reach back to the start of the engine; notes held before it are missing"
    for odd in found.odd:
        then, now = (describe(each, found.done.rig.rig.middle_c) if each else "nothing" for each in (odd.then, odd.now))
        yield f"{odd.output} first differs at {clock(odd.at - recording.begins)}: recorded {then}, now {now}"


def produced(done: Performance, title: str, recording: dict[str, Any] | None = None) -> Rehearsed:
    """The report and the files of what was played."""
    names = file_names(done.sent)
    report = account(done, title, recording)
    for name, output in report["outputs"].items():
        output["file"] = names[name]
    outputs = {names[name]: output_file(name, done.meter, sent) for name, sent in done.sent.items()}
    return Rehearsed(done, report, outputs)
