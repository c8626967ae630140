"""`bayleaf save`: writes the current rig to its file, and goes back to earlier versions."""

from typing import Annotated, Final

import typer

from engine.cli.options import Json, Name
from engine.cli.output import table
from engine.cli.requests import LONG_PATIENCE, do, done, show

_CHOICES: Final = "choose one of --undo, --history, --diff, --playing, --file"


def save(
    undo: Annotated[bool, typer.Option("--undo", help="Go back to the version before the current one.")] = False,
    history: Annotated[bool, typer.Option("--history", help="List the saved versions.")] = False,
    diff: Annotated[bool, typer.Option("--diff", help="Show the changes that are not saved yet.")] = False,
    playing: Annotated[
        bool, typer.Option("--playing", help="Save the current rig although the file was edited meanwhile.")
    ] = False,
    file: Annotated[bool, typer.Option("--file", help="Play the edited file instead.")] = False,
    version: Annotated[
        int | None, typer.Option("--version", min=1, help="With --undo or --diff: this version from --history.")
    ] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Save the current rig to its file, or restore a version.

    Reads the file back and lists what changed.
    """
    if sum((undo, history, diff, playing, file)) > 1:
        raise typer.BadParameter(_CHOICES)
    if version is not None and not (undo or diff):
        raise typer.BadParameter("--version goes with --undo or --diff")
    if history:
        _history(name, json)
    elif undo or diff:
        do(name, {"do": "save", "what": "undo" if undo else "diff", "version": version}, json, LONG_PATIENCE)
    else:
        choice = "playing" if playing else "file" if file else None
        do(name, {"do": "save", "choice": choice}, json, LONG_PATIENCE)


def _history(name: str, json: bool) -> None:
    answer = done(name, {"do": "save", "what": "history"}, LONG_PATIENCE)
    show(answer, json)
    if answer["versions"] and not json:
        table(("version", "saved", "bytes"), [(v["number"], v["time"], v["bytes"]) for v in answer["versions"]])
