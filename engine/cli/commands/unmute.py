"""`bayleaf unmute`: lets a muted route play again."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def unmute(
    route: Annotated[str, typer.Argument(help="Name of the route.")], name: Name = "bayleaf", json: Json = False
) -> None:
    """Unmute a route.

    Example: bayleaf unmute "pads to drums"
    """
    command(name, {"do": "unmute", "route": route}, json)
