"""The whole rig as a SysEx dump: out to a file or an output, and back from a file."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.output import CommandError, Json, Name, as_json, write_new
from engine.core.control import rig_dump
from engine.live.socket import client

_PATIENCE = 30.0  # seconds: a large rig is read and compiled


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)


def backup(
    where: Annotated[str, typer.Argument(help="A new file that ends in .syx, or the rig's name of an output.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Send the rig that plays as a SysEx dump, so that a sequencer or data recorder can hold it."""
    if not where.endswith(".syx"):
        answer = client.ask(name, {"do": "backup", "output": where}, patience=_PATIENCE)
        _tell(answer, json)
        return
    answer = client.ask(name, {"do": "backup"}, patience=_PATIENCE)
    blocks = rig_dump.blocks(answer["rig"], answer["device"])
    write_new(Path(where), b"".join(blocks))
    _tell({"done": True, "text": f"the rig is in {where}, {len(blocks)} blocks"}, json)


def restore(
    file: Annotated[Path, typer.Argument(help="A .syx file that backup wrote or a recorder kept.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Play the rig of a dump, if all of it is there and in order; save then writes it into the rig file."""
    try:
        text = rig_dump.from_syx(file.read_bytes())
    except OSError as fault:
        raise CommandError(f"{file} cannot be read: {fault.strerror}") from None
    except ValueError as fault:
        raise CommandError(f"{file}: {fault}") from None
    _tell(client.ask(name, {"do": "restore", "text": text, "where": str(file)}, patience=_PATIENCE), json)


def _tell(answer: dict[str, object], json: bool) -> None:
    if not answer["done"]:
        raise CommandError(str(answer["text"]))
    if json:
        as_json(answer)
    else:
        print(answer["text"])
