"""`bayleaf rehearse`: plays a song or a flight recording through a rig, with no hardware and in no time."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import CommandError, as_json, print_line
from engine.cli.rehearsal_output import Comparison, print_report, progress_bar
from engine.cli.rig_lookup import scene_of
from engine.offline import performance_comparison
from engine.offline.flight_recording import FlightRecording, FlightRecordingError, read_recording
from engine.offline.output_folder import OutputFolderError, refuse, write
from engine.offline.parameter_units import SentMessage
from engine.offline.performance_comparison import said_in
from engine.offline.rehearsal_run import Rehearsed, replay
from engine.offline.rehearsal_run import rehearse as play
from engine.offline.song import Song, SongError, read_song
from engine.rig.models.rig import Rig
from engine.rig.read.load import read, text_of

_LEAST: Final = 100_000  # ns: messages of two rigs that are closer in time count as simultaneous


@dataclass(frozen=True)
class _Music:
    """What is played: a song, or a recording."""

    song: Path | None
    recording: Path | None
    inputs: list[str]
    scene: str | None


def rehearse(
    rig: RigFile,
    song: Annotated[Path | None, typer.Argument(metavar="SONG.mid", help="The song to play.")] = None,
    input: Annotated[
        list[str] | None, typer.Option("--input", help="NAME: the input that plays; TRACK=NAME: the input of a track.")
    ] = None,
    scene: Annotated[str | None, typer.Option("--scene", help="Number or name of the scene to begin with.")] = None,
    recording: Annotated[
        Path | None, typer.Option("--recording", metavar="FILE", help="Play a flight recording (.jsonl) instead.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="DIR",
            help="Folder for the outputs' files and the report; needed unless --expect or --against is given.",
        ),
    ] = None,
    expect: Annotated[
        Path | None,
        typer.Option("--expect", metavar="DIR", help="Compare with an earlier run; status 1 if anything differs."),
    ] = None,
    against: Annotated[
        Path | None, typer.Option("--against", metavar="OLD_RIG", help="Compare with the same song through this rig.")
    ] = None,
    json: Json = False,
) -> None:
    """Play a song through a rig without hardware.

    Shows what each output gets, what each scene change costs, and what to fix.

    Example: bayleaf rehearse pit.toml song.mid --input keys --out rehearsal
    """
    music = _music(song, recording, input or [], scene)
    perform = _prepare(rig, music)
    if out is None and expect is None and against is None:
        raise typer.BadParameter("say where the report goes: --out DIR", param_hint="--out")
    done = perform()
    answer: dict[str, Any] = {"report": {**done.report}}
    if against is not None:
        _show(_compare_rigs(done, _prepare(against, music)(), against), answer, json)
    same = expect is None or _compare_files(done, expect, answer, json)
    if out is not None and (same or expect is None or out.resolve() != expect.resolve()):
        _write(done, out, answer, json)
    if json:
        as_json(answer)
    if not same:
        raise CommandError(f"this rehearsal differs from the one in {expect}")


def _music(song: Path | None, recording: Path | None, inputs: list[str], scene: str | None) -> _Music:
    if (song is None) == (recording is None):
        raise typer.BadParameter("give either SONG.mid or --recording FILE", param_hint="SONG.mid")
    if recording is not None and (inputs or scene is not None):
        raise typer.BadParameter("a recording has its own inputs and scenes; leave out --input and --scene")
    return _Music(song, recording, inputs, scene)


def _prepare(file: Path, music: _Music) -> Callable[[], Rehearsed]:
    """Read the rig and the music, so that what is wrong with them is reported at once; what plays them."""
    text = text_of(file)
    rig = read(text, str(file))
    if music.recording is not None:
        return _prepare_replay(rig, text, file.parent, music.recording)
    assert music.song is not None
    if music.scene is not None:
        scene_of(rig, music.scene, file)
    try:
        song = read_song(music.song, list(rig.inputs), music.inputs)
    except SongError as fault:
        raise CommandError(str(fault)) from None
    return partial(_rehearse, rig, song, music.scene, music.song.name)


def _rehearse(rig: Rig, song: Song, scene: str | None, name: str) -> Rehearsed:
    with progress_bar(name) as progress:
        return play(rig, song, scene, progress)


def _prepare_replay(rig: Rig, text: str, folder: Path, file: Path) -> Callable[[], Rehearsed]:
    try:
        recording = read_recording(file)
    except FlightRecordingError as fault:
        raise CommandError(str(fault)) from None
    return partial(_replay, rig, text, folder, recording, file.name)


def _replay(rig: Rig, text: str, folder: Path, recording: FlightRecording, name: str) -> Rehearsed:
    try:
        with progress_bar(name) as progress:
            return replay(rig, text, folder, recording, name, progress)
    except FlightRecordingError as fault:
        raise CommandError(str(fault)) from None


# Comparing


def _compare_rigs(done: Rehearsed, other: Rehearsed, file: Path) -> Comparison:
    """With the same music through another rig."""
    before = _sent(other)
    found = performance_comparison.differences(before, _sent(done), least=_LEAST)
    return Comparison("against", file, len(before), found, done.done.meter, done.done.rig.rig.middle_c)


def _sent(done: Rehearsed) -> dict[str, list[SentMessage]]:
    return {name: [SentMessage(each.start, each.message) for each in sent] for name, sent in done.done.sent.items()}


def _compare_files(done: Rehearsed, folder: Path, answer: dict[str, Any], json: bool) -> bool:
    """Compare with the files of an earlier run, to the tick; whether all is the same."""
    names = {output: found["file"] for output, found in done.report["outputs"].items()}
    try:
        kept = performance_comparison.earlier_run(folder, names)
    except performance_comparison.EarlierRunError as fault:
        raise CommandError(str(fault)) from None
    now = {output: said_in(done.outputs[name]) for output, name in names.items()}
    lines = [f"{folder} has no file for {output}" for output, said in kept.items() if said is None]
    lines += [f"this rehearsal has no output {output}" for output in kept if output not in names]
    lines += [
        f"{name} has the same messages but different bytes: its tempo, or the way it is written"
        for output, name in names.items()
        if now[output] == kept[output] and (folder / name).read_bytes() != done.outputs[name]
    ]
    for line in lines if not json else ():
        print_line(f"expected {folder}: {line}")
    before = {output: said for output in names if (said := kept[output]) is not None}
    found = performance_comparison.differences(before, {output: now[output] for output in before}, least=1)
    middle_c = done.done.rig.rig.middle_c
    _show(Comparison("expected", folder, len(before), found, done.done.meter, middle_c), answer, json)
    answer["expected"]["files"] = lines
    return not found and not lines


def _show(comparison: Comparison, answer: dict[str, Any], json: bool) -> None:
    answer[comparison.key] = comparison.as_json()
    if not json:
        comparison.print()


# The report


def _write(done: Rehearsed, out: Path, answer: dict[str, Any], json: bool) -> None:
    try:
        refuse(out, done.outputs)
        report = {**done.report, **{key: found for key, found in answer.items() if key != "report"}}
        left_alone = write(out, done.files(report), report)
    except OutputFolderError as fault:
        raise CommandError(str(fault)) from None
    answer["folder"] = str(out)
    answer["told"] = left_alone
    if not json:
        print_report(done.report, out)
        for text in left_alone:
            print_line(f"note: {text}")
