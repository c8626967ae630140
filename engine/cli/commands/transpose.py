"""`bayleaf transpose`: transposes all play lines by a step."""

from typing import Annotated

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.requests import command, for_player
from engine.core.control.setlist import LAST_STEP


def transpose(
    step: Annotated[
        int,
        typer.Argument(
            help="Semitones up, or down if negative, added to those before; 0 undoes them all.",
            min=-LAST_STEP,
            max=LAST_STEP,
        ),
    ],
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Transpose all play lines, except those of drums.

    Example: bayleaf transpose 1
    """
    command(name, for_player({"do": "transpose", "step": step}, player), json)
