"""`bayleaf restore`: plays the rig from a SysEx dump."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError
from engine.cli.requests import LONG_PATIENCE, do
from engine.core.control import rig_dump


def restore(
    file: Annotated[Path, typer.Argument(help="A .syx file that `bayleaf backup` wrote or a data recorder stored.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Play the rig from a SysEx dump.

    The dump must be complete and its rig valid. `bayleaf save` then writes it to the rig file.

    Example: bayleaf restore pit.syx
    """
    try:
        text = rig_dump.from_syx(file.read_bytes())
    except OSError as fault:
        raise CommandError(f"{file} cannot be read: {fault.strerror}") from None
    except ValueError as fault:
        raise CommandError(f"{file}: {fault}") from None
    do(name, {"do": "restore", "text": text, "where": str(file)}, json, LONG_PATIENCE)
