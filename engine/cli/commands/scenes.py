"""`bayleaf scenes`: lists and edits the scenes of a running engine."""

from typing import Annotated, Any

import typer

from engine.cli.options import Json, Name, Number, Player
from engine.cli.output import as_json, table
from engine.cli.requests import LONG_PATIENCE, do
from engine.live.socket import client

scenes = typer.Typer()


@scenes.callback(invoke_without_command=True)
def _scenes(context: typer.Context, name: Name = "bayleaf", json: Json = False) -> None:
    """List, copy, rename, move, store and delete scenes while they play.

    Without a command, it lists them. `bayleaf save` writes what was changed to the rig file.
    """
    if context.invoked_subcommand is None:
        listed(name, json)
    elif json or name != "bayleaf":
        raise typer.BadParameter(f"give --name and --json after {context.invoked_subcommand}")


@scenes.command("list")
def listed(name: Name = "bayleaf", json: Json = False) -> None:
    """List the scenes of the running engine."""
    answer = client.ask(name, {"do": "scenes", "what": "list"})
    if json:
        as_json(answer["scenes"])
        return
    extra = [key for key in ("cue", "at") if any(each.get(key) is not None for each in answer["scenes"])]
    rows = [
        (each["number"], *(each[key] for key in extra), each["name"], "now" if each["now"] else "")
        for each in answer["scenes"]
    ]
    table(("no.", *extra, "name", "playing"), rows)


@scenes.command()
def copy(
    number: Number,
    new: Annotated[int, typer.Argument(help="Number of the copy.")],
    name_of_copy: Annotated[str | None, typer.Option("--as", metavar="NAME", help="Name of the copy.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Copy a scene to a new number.

    Example: bayleaf scenes copy 12 20
    """
    _edit(name, json, "copy", number=number, new=new, name=name_of_copy)


@scenes.command()
def rename(
    number: Number,
    to: Annotated[str, typer.Argument(help="The new name.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Rename a scene, also where set lists and controls name it.

    Example: bayleaf scenes rename 12 "Street at dawn"
    """
    _edit(name, json, "rename", number=number, name=to)


@scenes.command()
def renumber(
    number: Number,
    new: Annotated[int, typer.Argument(help="The new number.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Renumber a scene, also where set lists and controls give its number.

    Example: bayleaf scenes renumber 12 20
    """
    _edit(name, json, "renumber", number=number, new=new)


@scenes.command()
def move(
    number: Number,
    before: Annotated[
        int | None, typer.Option("--before", metavar="NUMBER", help="Move it before this scene. Default: to the end.")
    ] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Move a scene within the file. Without a set list, next and back follow the order of the file.

    Example: bayleaf scenes move 12 --before 11
    """
    _edit(name, json, "move", number=number, new=before)


@scenes.command()
def delete(number: Number, name: Name = "bayleaf", json: Json = False) -> None:
    """Delete a scene from the rig and from its set lists.

    Example: bayleaf scenes delete 12
    """
    _edit(name, json, "delete", number=number)


@scenes.command()
def store(
    number: Number,
    as_name: Annotated[str | None, typer.Option("--as", metavar="NAME", help="Name, if the scene is new.")] = None,
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Store the current state as a scene: its routes without the muted ones, and the current sounds.

    Of a player, it is what that player plays.

    Example: bayleaf scenes store 20 --as "Soft strings"
    """
    _edit(name, json, "store", number=number, name=as_name, player=player)


@scenes.command()
def undo(name: Name = "bayleaf", json: Json = False) -> None:
    """Undo the last edit."""
    _edit(name, json, "undo")


@scenes.command()
def redo(name: Name = "bayleaf", json: Json = False) -> None:
    """Redo the edit that was undone last."""
    _edit(name, json, "redo")


def _edit(engine: str, json: bool, what: str, /, **keys: Any) -> None:
    do(engine, {"do": "scenes", "what": what, **keys}, json, LONG_PATIENCE)
