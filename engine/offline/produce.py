"""From a rig and a song to the files of a rehearsal."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from engine.offline.account import account
from engine.offline.folder import PAGE, file_names
from engine.offline.outfile import output_file
from engine.offline.page import page
from engine.offline.rehearsal import Performance, Rehearsal
from engine.offline.song import Song
from engine.rig.models import Rig


@dataclass(frozen=True)
class Rehearsed:
    """A performance, its report, and the outputs' files by name."""

    done: Performance
    report: dict[str, Any]
    outputs: dict[str, bytes]

    def files(self) -> dict[str, bytes]:
        """All files beside report.json."""
        return {**self.outputs, PAGE: page(self.report, self.done).encode("utf-8", "backslashreplace")}


def rehearse(rig: Rig, song: Song, scene: int | str | None, progress: Callable[[float], None]) -> Rehearsed:
    """Play a song through a rig. KeyError if there is no such scene."""
    done = Rehearsal(rig, progress).play(song, scene)
    return produced(done, song.name)


def produced(done: Performance, title: str) -> Rehearsed:
    """The report and the files of what was played."""
    names = file_names(done.sent)
    report = account(done, title)
    for name, output in report["outputs"].items():
        output["file"] = names[name]
    outputs = {names[name]: output_file(name, done.meter, sent) for name, sent in done.sent.items()}
    return Rehearsed(done, report, outputs)
