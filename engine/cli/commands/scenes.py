"""Live edits of a running rig: scenes as memories, and saving with proof."""

from typing import Annotated, Any

import typer

from engine.cli.output import CommandError, Json, Name, Number, as_json, table
from engine.live.socket import client

_PATIENCE = 30.0  # seconds: a large rig is read, compiled, written and read back

scenes_app = typer.Typer(help="Copy, rename, reorder, store and delete scenes while they play; save keeps them.")


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("save")(save)
    for name, command in (
        ("list", listed),
        ("copy", copy),
        ("rename", rename),
        ("renumber", renumber),
        ("move", move),
        ("delete", delete),
        ("store", store),
        ("undo", undo),
        ("redo", redo),
    ):
        scenes_app.command(name)(command)
    app.add_typer(scenes_app, name="scenes")


def _ask(name: str, request: dict[str, Any], json: bool) -> dict[str, Any]:
    answer = client.ask(name, request, patience=_PATIENCE)
    if not answer["done"]:
        raise CommandError(answer["text"])
    if json:
        as_json(answer)
    else:
        print(answer["text"])
    return answer


def save(
    undo: Annotated[bool, typer.Option("--undo", help="Go back to the version before the present one.")] = False,
    history: Annotated[bool, typer.Option("--history", help="List the versions that are kept.")] = False,
    diff: Annotated[bool, typer.Option("--diff", help="Show what plays and is not in the file yet.")] = False,
    playing: Annotated[bool, typer.Option("--playing", help="Write what plays, though the file was edited.")] = False,
    file: Annotated[bool, typer.Option("--file", help="Play what the edited file holds instead.")] = False,
    version: Annotated[
        int | None, typer.Option("--version", min=1, help="For --undo and --diff: this one of --history instead.")
    ] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Write what plays into the rig file, read it back and say what changed."""
    if sum((undo, history, diff, playing, file)) > 1:
        raise typer.BadParameter("choose one of --undo, --history, --diff, --playing, --file")
    if version is not None and not (undo or diff):
        raise typer.BadParameter("--version goes with --undo or --diff")
    if history:
        _history(name, json)
        return
    if undo or diff:
        _ask(name, {"do": "save", "what": "undo" if undo else "diff", "version": version}, json)
        return
    _ask(name, {"do": "save", "choice": "playing" if playing else "file" if file else None}, json)


def _history(name: str, json: bool) -> None:
    answer = client.ask(name, {"do": "save", "what": "history"}, patience=_PATIENCE)
    if not answer["done"]:
        raise CommandError(answer["text"])
    if json:
        as_json(answer)
        return
    print(answer["text"])
    if answer["versions"]:
        table(("version", "kept since", "bytes"), [(v["number"], v["time"], v["bytes"]) for v in answer["versions"]])


def listed(name: Name = "bayleaf", json: Json = False) -> None:
    """List the scenes that play now."""
    answer = client.ask(name, {"do": "scenes", "what": "list"})
    if json:
        as_json(answer["scenes"])
        return
    rows = [(each["number"], each["name"], each["at"], "now" if each["now"] else "") for each in answer["scenes"]]
    table(("no.", "name", "at", ""), rows)


def copy(
    number: Number,
    new: Annotated[int, typer.Argument(help="The copy's number.")],
    name_of_copy: Annotated[str | None, typer.Option("--as", help="The copy's name.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Copy a scene to another number."""
    _ask(name, {"do": "scenes", "what": "copy", "number": number, "new": new, "name": name_of_copy}, json)


def rename(
    number: Number,
    to: Annotated[str, typer.Argument(help="The new name.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Give a scene another name; set lists and controls follow."""
    _ask(name, {"do": "scenes", "what": "rename", "number": number, "name": to}, json)


def renumber(
    number: Number,
    new: Annotated[int, typer.Argument(help="The new number.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Give a scene another number; set lists and controls follow."""
    _ask(name, {"do": "scenes", "what": "renumber", "number": number, "new": new}, json)


def move(
    number: Number,
    before: Annotated[int | None, typer.Option("--before", help="The scene it is to stand before; else last.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Give a scene another place in the order of the file, which next and back follow without a set list."""
    _ask(name, {"do": "scenes", "what": "move", "number": number, "new": before}, json)


def delete(number: Number, name: Name = "bayleaf", json: Json = False) -> None:
    """Take a scene out of the rig and its set lists."""
    _ask(name, {"do": "scenes", "what": "delete", "number": number}, json)


def store(
    number: Number,
    as_name: Annotated[str | None, typer.Option("--as", help="Its name, if the number is new.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Store what plays now as a scene: its routes without the muted ones, and the sounds the instruments are on."""
    _ask(name, {"do": "scenes", "what": "store", "number": number, "name": as_name}, json)


def undo(name: Name = "bayleaf", json: Json = False) -> None:
    """Take back the last live edit."""
    _ask(name, {"do": "scenes", "what": "undo"}, json)


def redo(name: Name = "bayleaf", json: Json = False) -> None:
    """Do again what undo took back last."""
    _ask(name, {"do": "scenes", "what": "redo"}, json)
