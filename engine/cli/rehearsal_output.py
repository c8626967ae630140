"""What `bayleaf rehearse` prints: its progress, the report, and the differences from another rehearsal."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from engine.cli.output import clean, print_line, table
from engine.midi.message_words import MiddleC
from engine.offline import performance_comparison
from engine.offline.output_folder import PAGE
from engine.offline.performance_comparison import PerformanceDifference
from engine.offline.song_time import SongTime
from engine.plurals import counted

_LONG: Final = 0.7  # seconds after which a progress bar is shown
_SHOWN: Final = 20  # lines of a list that are printed; the JSON output has them all


class ShowProgress(Protocol):
    """Takes the part that is done, 0 to 1."""

    def __call__(self, part: float) -> None: ...


@dataclass(frozen=True)
class Comparison:
    """The differences between a rehearsal and another one. `key`: "against" a rig or "expected" in a folder.

    `middle_c`: how the gear of the rehearsed rig prints note 60.
    """

    key: str
    other: Path
    outputs: int
    found: list[PerformanceDifference]
    meter: SongTime
    middle_c: MiddleC

    def as_json(self) -> dict[str, Any]:
        return {"with": str(self.other), **performance_comparison.as_json(self.found, self.meter, self.middle_c)}

    def print(self) -> None:
        what = f"{self.key} {self.other}"
        if not self.found:
            print_line(f"{what}: every message of {counted(self.outputs, 'output')} is the same")
        for line in performance_comparison.summary(self.found):
            print_line(f"{what}: {line}")
        for each in self.found[:_SHOWN]:
            print_line(f"  {each.words(self.meter, self.middle_c)}")
        if len(self.found) > _SHOWN:
            print_line(f"  … and {len(self.found) - _SHOWN:,} more; --json lists them")


@contextmanager
def progress_bar(what: str) -> Iterator[ShowProgress]:
    """A progress bar on stderr, if that is a terminal, once the work takes long."""
    screen = Console(stderr=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=screen, transient=True, auto_refresh=False)
    task, begun, shown = bar.add_task(clean(f"rehearsing {what}"), total=1.0), time.monotonic(), False

    def advance(part: float) -> None:
        nonlocal shown
        if not shown and screen.is_terminal and time.monotonic() - begun > _LONG:
            bar.start()
            shown = True
        if shown:
            bar.update(task, completed=part, refresh=True)

    try:
        yield advance
    finally:
        if shown:
            bar.stop()


def print_report(report: dict[str, Any], out: Path) -> None:
    """Print the report of a rehearsal whose files are in `out`."""
    print_line(
        f"{report['song']} through {report['rig']}: {report['seconds']:.0f} s, {report['messages_in']:,} messages in, "
        f"{report['messages_out']:,} out, {report['notes_left_sounding']} notes left sounding"
    )
    rows = [
        (one["place"], f"{one['number']} {one['name']}", one["by"], one["burst_bytes"], f"{one['ready_ms']:.1f} ms",
         one["notes_carried_over"], one["messages_that_waited"])
        for one in report["scene_changes"]
    ]  # fmt: skip
    table(("when", "scene", "by", "bytes", "ready after", "carried over", "waited"), rows, title="Scene changes")
    outputs = [
        (name, one["messages"], one["notes"], f"{one['load']['busiest_second']['share'] or 0:.0%}"
         if one["wire"] == "din" else "", f"{one['worst_wait_ms']:.1f} ms", one["shed"])
        for name, one in report["outputs"].items()
    ]  # fmt: skip
    table(("output", "messages", "notes", "busiest second", "worst wait", "left out"), outputs, title="Outputs")
    findings = report["findings"]
    for text in findings[:_SHOWN] or ("nothing to fix",):
        print_line(text)
    if len(findings) > _SHOWN:
        print_line(f"… and {len(findings) - _SHOWN} more, all in the report")
    for text in report["remarks"]:
        print_line(text)
    for notice in report["told"][:_SHOWN]:
        print_line(f"{notice['place']}: {notice['text']}")
    print_line(f"report: {out / PAGE}")
