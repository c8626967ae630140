"""`bayleaf song`: recalls the first scene of a song."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def song(
    song: Annotated[str, typer.Argument(help="Name of the song.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall the first scene of a song.

    Example: bayleaf song Market
    """
    command(name, {"do": "song", "song": song}, json)
