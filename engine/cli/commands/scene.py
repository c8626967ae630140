"""`bayleaf scene`: recalls a scene."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def scene(
    scene: Annotated[str, typer.Argument(help="Number or name of the scene.")],
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall a scene by number or name.

    Example: bayleaf scene 12
    """
    command(name, for_player({"do": "scene", "scene": scene}, player), json)
