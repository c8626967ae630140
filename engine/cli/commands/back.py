"""`bayleaf back`: recalls the previous scene in the set list."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def back(
    song: Annotated[bool, typer.Option("--song", help="The first scene of this song or of the one before.")] = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall the previous scene in the set list."""
    command(name, {"do": "back song" if song else "back"}, json)
