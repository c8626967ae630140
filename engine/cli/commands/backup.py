"""`bayleaf backup`: writes the current rig as a SysEx dump, to a file or to an output."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.output import write_new
from engine.cli.requests import LONG_PATIENCE, do, done, show
from engine.core.control import rig_dump
from engine.plurals import counted


def backup(
    where: Annotated[str, typer.Argument(help="A new file that ends in .syx, or the name of an output in the rig.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Write the current rig as a SysEx dump.

    It goes to a file, or to an output where a sequencer or data recorder stores it.

    Example: bayleaf backup pit.syx
    """
    if not where.endswith(".syx"):
        do(name, {"do": "backup", "output": where}, json, LONG_PATIENCE)
        return
    answer = done(name, {"do": "backup"}, LONG_PATIENCE)
    blocks = rig_dump.blocks(answer["rig"], answer["device"])
    write_new(Path(where), b"".join(blocks))
    show({"done": True, "text": f"the rig is in {where}, {counted(len(blocks), 'block')}"}, json)
