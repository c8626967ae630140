"""`bayleaf back`: recalls the previous scene in the set list."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def back(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the previous scene in the set list."""
    command(name, {"do": "back"}, json)
