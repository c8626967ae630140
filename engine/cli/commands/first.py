"""`bayleaf first`: recalls the first scene in the set list."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def first(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the first scene in the set list."""
    command(name, {"do": "first"}, json)
