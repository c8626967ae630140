"""`bayleaf back`: recalls the previous scene in the set list."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def back(
    song: Annotated[bool, typer.Option("--song", help="The first scene of this song or of the one before.")] = False,
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall the previous scene in the set list."""
    command(name, for_player({"do": "back song" if song else "back"}, player), json)
