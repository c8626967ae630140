"""`bayleaf panic`: silences everything, or one instrument."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import command


def panic(
    instrument: Annotated[str | None, typer.Argument(help="Silence this instrument only.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Silence every channel of every output, or one instrument.

    Sends note-offs, all sound off, all notes off and pedals up. A second panic within two seconds sends a note-off for
    every key as well.
    """
    command(name, {"do": "panic", "instrument": instrument}, json)
