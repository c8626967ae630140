"""`bayleaf resend`: sends the current scene's banks and programs again."""

from engine.cli.options import Json, Name
from engine.cli.requests import command


def resend(name: Name = "bayleaf", json: Json = False) -> None:
    """Send the banks and programs of the current scene again."""
    command(name, {"do": "resend"}, json)
