"""`bayleaf resend`: sends the current scene's banks and programs again."""

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player


def resend(player: Player = "", name: Name = "bayleaf", json: Json = False) -> None:
    """Send the banks and programs of the current scene again."""
    command(name, for_player({"do": "resend"}, player), json)
