"""`bayleaf song`: recalls the first scene of a song."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def song(
    song: Annotated[str, typer.Argument(help="Name of the song.")],
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall the first scene of a song.

    Example: bayleaf song Market
    """
    command(name, for_player({"do": "song", "song": song}, player), json)
