"""`bayleaf clock`: starts, stops, continues, taps and locates the rig's own clock, and sets its tempo."""

import contextlib
from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def clock(
    what: Annotated[str, typer.Argument(help="start, continue, stop, tap, locate, or a tempo in beats per minute.")],
    position: Annotated[int | None, typer.Argument(help="With locate: the song position, in sixteenths.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Start, stop, tap or locate the rig's own clock, or set its tempo.

    Example: bayleaf clock 120
    """
    if what == "tap":
        command(name, {"do": "tap"}, json)
        return
    if position is not None:
        command(name, {"do": "clock", "what": what, "value": position}, json)
        return
    with contextlib.suppress(ValueError):
        command(name, {"do": "clock", "what": "tempo", "value": float(what)}, json)
        return
    command(name, {"do": "clock", "what": what}, json)
