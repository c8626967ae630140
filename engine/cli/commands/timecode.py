"""`bayleaf timecode`: starts, stops and moves the rig's own time code."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def timecode(
    what: Annotated[str, typer.Argument(help="start, stop, or a position to go to, such as 01:00:00:00.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Start, stop or move the rig's own time code.

    Example: bayleaf timecode 01:00:00:00
    """
    if ":" in what:
        command(name, {"do": "timecode", "what": "locate", "value": what}, json)
    else:
        command(name, {"do": "timecode", "what": what}, json)
