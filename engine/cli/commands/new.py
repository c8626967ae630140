"""`bayleaf new`: writes a first rig file."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.commands.ports import port_names
from engine.cli.options import Backend
from engine.cli.output import CommandError, print_line, write_new
from engine.ports.open_system import lasting
from engine.ports.port import PortError
from engine.rig.starter_rig import KINDS, starter, starter_of


def new(
    file: Annotated[Path, typer.Argument(help="The rig file to write.")] = Path("rig.toml"),
    kind: Annotated[
        str | None, typer.Option("--kind", help=f"Write a ready-made example instead: {', '.join(KINDS)}.")
    ] = None,
    backend: Backend = None,
) -> None:
    """Write a first rig file.

    It is made from the connected ports, or is a ready-made example.
    """
    if kind is not None and kind not in KINDS:
        raise CommandError(f'there is no starter rig "{kind}"; there are: {", ".join(KINDS)}')
    text = starter_of(kind) if kind is not None else _from_ports(backend)
    write_new(file, text.encode())
    print_line(f"wrote {file}; read it through, then run: bayleaf check {file}")


def _from_ports(backend: str | None) -> str:
    try:
        inputs, outputs = port_names(backend)
    except PortError as fault:
        raise CommandError(f"{fault}; a ready-made example needs no ports: --kind theatre-pit") from None
    return starter(lasting(backend, inputs), lasting(backend, outputs))
