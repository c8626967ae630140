"""`bayleaf lend`: a machine of a rig that only lends its ports."""

from pathlib import Path
from typing import Annotated

import trio
import typer

from engine.cli.output import Backend, CommandError, Machine, heeded_by_the_show, say
from engine.cluster.link.link import LinkError
from engine.live.port_opening import PortOpener, system_for
from engine.live.process import lender_process
from engine.rig.models.rig import Rig
from engine.rig.read.load import load


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("lend")(lend)


def as_machine(rig: Rig, machine: str | None) -> Rig:
    """A rig as the machine of this name reads it; None is the one that the file names."""
    try:
        return rig if machine is None else rig.on(machine)
    except ValueError as fault:
        raise CommandError(str(fault)) from None


def lend(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    machine: Machine = None,
    name: Annotated[str, typer.Option("--name", help="The name that the ports carry.")] = "bayleaf",
    backend: Backend = None,
    virtual: Annotated[
        bool, typer.Option("--virtual", help="Make ports of our own for other programs to join, one each.")
    ] = False,
) -> None:
    """Lend this machine's ports of the rig to the engine in charge, until stopped (Ctrl-C)."""
    loaded = as_machine(load(rig), machine)
    network = loaded.network
    if network is None:
        raise CommandError(f"{rig} has no [network]; a rig of one machine is played with: bayleaf run {rig}")
    if network.machine in network.engines:
        raise CommandError(
            f"{network.machine} is an engine of this rig: start it with: bayleaf run {rig}; "
            "or say with --machine which machine lends here"
        )
    system = system_for(loaded, backend, name)
    heeded_by_the_show()
    try:
        trio.run(lender_process.lend, loaded, rig, PortOpener(system, virtual), say)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    finally:
        system.close()
