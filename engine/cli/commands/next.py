"""`bayleaf next`: recalls the next scene in the set list."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def next(
    song: Annotated[bool, typer.Option("--song", help="The first scene of the next song.")] = False,
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall the next scene in the set list."""
    command(name, for_player({"do": "next song" if song else "next"}, player), json)
