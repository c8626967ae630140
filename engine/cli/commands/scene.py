"""`bayleaf scene`: recalls a scene."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def scene(
    scene: Annotated[str, typer.Argument(help="Number or name of the scene.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall a scene by number or name.

    Example: bayleaf scene 12
    """
    command(name, {"do": "scene", "scene": scene}, json)
