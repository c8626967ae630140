"""`bayleaf panic`: silences everything."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def panic(name: Name = "bayleaf", json: Json = False) -> None:
    """Silence every channel of every output.

    Sends note-offs, all notes off, pedals up and all sound off.
    """
    command(name, {"do": "panic"}, json)
