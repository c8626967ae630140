"""`bayleaf mute`: mutes a route."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def mute(
    route: Annotated[str, typer.Argument(help="Name of the route.")], name: Name = "bayleaf", json: Json = False
) -> None:
    """Mute a named route in every scene.

    Example: bayleaf mute "pads to drums"
    """
    command(name, {"do": "mute", "route": route}, json)
