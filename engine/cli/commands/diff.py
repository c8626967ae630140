"""What differs between two scenes of a rig file."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.output import Json, Number, as_json
from engine.cli.scene_names import scene_of
from engine.rig.edit.differences import scenes as scenes_difference
from engine.rig.read.load import load


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("diff")(diff)


def diff(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    first: Number,
    second: Number,
    json: Json = False,
) -> None:
    """Say in words what differs between two scenes."""
    loaded = load(rig)
    for number in (first, second):
        scene_of(loaded, number, rig)
    told = scenes_difference(loaded, first, second)
    if json:
        as_json({"scenes": [first, second], "differences": told})
        return
    print("\n".join(told) or f"scenes {first} and {second} do the same")
