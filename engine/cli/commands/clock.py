"""`bayleaf clock`: starts, stops, continues and taps the rig's own clock, and sets its tempo."""

import contextlib
from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def clock(
    what: Annotated[str, typer.Argument(help="start, continue, stop, tap, or a tempo in beats per minute.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Start, stop or tap the rig's own clock, or set its tempo."""
    if what == "tap":
        command(name, {"do": "tap"}, json)
        return
    with contextlib.suppress(ValueError):
        command(name, {"do": "clock", "what": "tempo", "value": float(what)}, json)
        return
    command(name, {"do": "clock", "what": what}, json)
