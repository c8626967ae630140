"""`bayleaf panic`: silences everything."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def panic(name: Name = "bayleaf", json: Json = False) -> None:
    """Silence everything: all notes off, pedals up, all sound off, on every channel of every output."""
    command(name, {"do": "panic"}, json)
