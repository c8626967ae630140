"""`bayleaf rehearse`: the show before the show."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Protocol

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from engine.cli.output import CommandError, Json, as_json, counted, table
from engine.cli.scene_names import scene_of
from engine.offline import performance_comparison
from engine.offline.flight_recording import FlightRecordingError, read_recording
from engine.offline.output_folder import PAGE, OutputFolderError, refuse, write
from engine.offline.rehearsal_run import Rehearsed, replay
from engine.offline.rehearsal_run import rehearse as play
from engine.offline.song import SongError, read_song
from engine.rig.models.rig import Rig
from engine.rig.read.load import read, text_of

_LONG: Final = 0.7  # seconds after which a bar is shown
_SHOWN: Final = 20  # differences that are printed; JSON has them all


class _Told(Protocol):
    def __call__(self, part: float) -> None: ...


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("rehearse")(rehearse)


@dataclass(frozen=True)
class _Asked:
    """Where the music comes from: a song, or a recording."""

    song: Path | None
    recording: Path | None
    wanted: list[str]
    scene: str | None


def rehearse(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    song: Annotated[Path | None, typer.Argument(metavar="SONG.mid", help="What is played.")] = None,
    input: Annotated[
        list[str] | None, typer.Option("--input", help="NAME: the input that plays; TRACK=NAME for one track.")
    ] = None,
    scene: Annotated[str | None, typer.Option("--scene", help="The scene to begin with, by number or name.")] = None,
    recording: Annotated[
        Path | None, typer.Option("--recording", metavar="FILE", help="A flight recording (.jsonl) instead of a song.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="DIR", help="Where the files and report go.")] = None,
    expect: Annotated[
        Path | None,
        typer.Option("--expect", metavar="DIR", help="Compare with a kept run; status 1 if it differs."),
    ] = None,
    against: Annotated[
        Path | None, typer.Option("--against", metavar="OLD_RIG", help="The same song through this rig: what differs.")
    ] = None,
    json: Json = False,
) -> None:
    """Play a song through a rig in virtual time: what every output gets, what each scene change costs, what to fix."""
    if (song is None) == (recording is None):
        raise typer.BadParameter("give either SONG.mid or --recording FILE", param_hint="SONG.mid")
    if recording is not None and (input or scene is not None):
        raise typer.BadParameter("a recording has its own inputs and scenes; leave out --input and --scene")
    if out is None and expect is None and against is None:
        raise typer.BadParameter("say where the report goes: --out DIR", param_hint="--out")
    asked = _Asked(song, recording, input or [], scene)
    done = _perform(rig, asked)
    answer: dict[str, Any] = {"report": {**done.report}}
    status = 0
    if against is not None:
        before = _perform(against, asked)
        _print_differences(done, _said(before), against, answer, "against", json)
    if expect is not None:
        status = _expect(done, expect, answer, json)
    if out is not None and not (status and expect is not None and _same(out, expect)):
        _write(done, out, answer, json)
    if json:
        as_json(answer)
    if status:
        raise CommandError(f"this rehearsal differs from the one in {expect}")


def _perform(file: Path, asked: _Asked) -> Rehearsed:
    text = text_of(file)
    rig = read(text, str(file))
    if asked.recording is not None:
        return _replay(rig, text, file.parent, asked.recording)
    assert asked.song is not None
    scene = asked.scene
    if scene is not None:
        scene_of(rig, scene, file)
    try:
        song = read_song(asked.song, list(rig.inputs), asked.wanted)
    except SongError as fault:
        raise CommandError(str(fault)) from None
    with _bar(asked.song.name) as told:
        return play(rig, song, scene, told)


def _replay(rig: Rig, text: str, folder: Path, file: Path) -> Rehearsed:
    try:
        recording = read_recording(file)
        with _bar(file.name) as told:
            return replay(rig, text, folder, recording, file.name, told)
    except FlightRecordingError as fault:
        raise CommandError(str(fault)) from None


@contextmanager
def _bar(what: str) -> Iterator[_Told]:
    """A progress bar on stderr, once it takes long, if somebody looks."""
    screen = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=screen, transient=True, auto_refresh=False)
    task, begun, shown = bar.add_task(f"rehearsing {what}", total=1.0), time.monotonic(), False

    def told(part: float) -> None:
        nonlocal shown
        if not shown and screen.is_terminal and time.monotonic() - begun > _LONG:
            bar.start()
            shown = True
        if shown:
            bar.update(task, completed=part, refresh=True)

    try:
        yield told
    finally:
        if shown:
            bar.stop()


# What differs


def _said(done: Rehearsed) -> dict[str, list[performance_comparison.SentMessage]]:
    return {
        name: [performance_comparison.SentMessage(each.start, each.message) for each in sent]
        for name, sent in done.done.sent.items()
    }


def _print_differences(
    done: Rehearsed,
    before: dict[str, list[performance_comparison.SentMessage]],
    other: Path,
    answer: dict[str, Any],
    key: str,
    json: bool,
    now: dict[str, list[performance_comparison.SentMessage]] | None = None,
) -> int:
    """How many there are; `key`: what the other is, "against" a rig or "expected" in a folder."""
    meter = done.done.meter
    found = performance_comparison.differences(
        before, now if now is not None else _said(done), least=1 if now is not None else 100_000
    )
    answer[key] = {"with": str(other), **performance_comparison.as_json(found, meter)}
    if json:
        return len(found)
    what = f"{key} {other}"
    if not found:
        print(f"{what}: every message of {counted(len(before), 'output')} is the same")
    for line in performance_comparison.summary(found):
        print(f"{what}: {line}")
    for each in found[:_SHOWN]:
        print(f"  {each.words(meter)}")
    if len(found) > _SHOWN:
        print(f"  … and {len(found) - _SHOWN:,} more; --json lists them")
    return len(found)


def _expect(done: Rehearsed, folder: Path, answer: dict[str, Any], json: bool) -> int:
    """1 if anything differs from the kept run, to the tick of the files."""
    names = {output: found["file"] for output, found in done.report["outputs"].items()}
    try:
        kept = performance_comparison.kept_run(folder, names)
    except performance_comparison.ExpectFault as fault:
        raise CommandError(str(fault)) from None
    now = {output: performance_comparison.said_in(done.outputs[name]) for output, name in names.items()}
    both = [output for output in names if kept[output] is not None]
    gone = [output for output, said in kept.items() if said is None]
    extra = [output for output in kept if output not in names]
    told = [f"{folder} has no file of {output}" for output in gone]
    told += [f"this rehearsal has no output {output}" for output in extra]
    told += [
        f"{name} has other bytes, though the same messages: its tempo, or how it is written"
        for output, name in names.items()
        if now[output] == kept[output] and (folder / name).read_bytes() != done.outputs[name]
    ]
    for text in told if not json else ():
        print(f"expected {folder}: {text}")
    before = {output: kept[output] or [] for output in both}
    now = {output: now[output] for output in both}
    count = _print_differences(done, before, folder, answer, "expected", json, now)
    answer["expected"]["files"] = told
    return 1 if count or told else 0


def _same(one: Path, other: Path) -> bool:
    return one.resolve() == other.resolve()


# The report


def _write(done: Rehearsed, out: Path, answer: dict[str, Any], json: bool) -> None:
    try:
        refuse(out, done.outputs)
        report = {**done.report, **{key: found for key, found in answer.items() if key != "report"}}
        told = write(out, done.files(report), report)
    except OutputFolderError as fault:
        raise CommandError(str(fault)) from None
    answer["folder"] = str(out)
    answer["told"] = told
    if not json:
        _print_report(done.report, out)
        for text in told:
            print(f"note: {text}")


def _print_report(report: dict[str, Any], out: Path) -> None:
    print(
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
    table(("output", "messages", "notes", "busiest second", "worst wait", "shed"), outputs, title="Outputs")
    findings = report["findings"]
    for text in findings[:_SHOWN] or ("nothing to fix",):
        print(text)
    if len(findings) > _SHOWN:
        print(f"… and {len(findings) - _SHOWN} more, all in the report")
    for text in report["remarks"]:
        print(text)
    for told in report["told"][:_SHOWN]:
        print(f"{told['place']}: {told['text']}")
    print(f"look at it: {out / PAGE}")
