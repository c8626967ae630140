"""`bayleaf diff`: describes the differences between two scenes."""

from typing import Annotated

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import as_json, print_line
from engine.cli.rig_lookup import scene_of
from engine.rig.edit.differences import scenes as scenes_difference
from engine.rig.read.load import load


def diff(
    rig: RigFile,
    first: Annotated[str, typer.Argument(help="Number or name of one scene.")],
    second: Annotated[str, typer.Argument(help="Number or name of the other.")],
    json: Json = False,
) -> None:
    """Describe the differences between two scenes.

    Example: bayleaf diff pit.toml 11 12
    """
    loaded = load(rig)
    one, other = (scene_of(loaded, scene, rig).number for scene in (first, second))
    found = scenes_difference(loaded, one, other)
    if json:
        as_json({"scenes": [one, other], "differences": found})
        return
    print_line("\n".join(found) or f"scenes {one} and {other} do the same")
