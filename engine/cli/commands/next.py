"""`bayleaf next`: recalls the next scene in the set list."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def next(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the next scene in the set list."""
    command(name, {"do": "next"}, json)
