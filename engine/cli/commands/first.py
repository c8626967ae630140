"""`bayleaf first`: recalls the first scene in the set list."""

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def first(player: Player = "", name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the first scene in the set list."""
    command(name, for_player({"do": "first"}, player), json)
