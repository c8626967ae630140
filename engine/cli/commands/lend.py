"""`bayleaf lend`: lends this machine's ports to the engine in charge of a rig."""

from typing import Annotated

import trio
import typer

from engine.cli.options import Backend, Machine, RigFile, Virtual
from engine.cli.output import CommandError, leave_signals_to_the_show, say
from engine.cli.rig_lookup import as_machine
from engine.cluster.link.link import LinkError
from engine.live.port_opening import PortOpener, system_for
from engine.live.process import lender_process
from engine.rig.read.load import load


def lend(
    rig: RigFile,
    machine: Machine = None,
    name: Annotated[str, typer.Option("--name", help="Name for the ports.")] = "bayleaf",
    backend: Backend = None,
    virtual: Virtual = False,
) -> None:
    """Lend this machine's ports until stopped (Ctrl-C).

    The engine in charge of the rig plays them.

    Example: bayleaf lend pit.toml
    """
    loaded = as_machine(load(rig), machine)
    network = loaded.network
    if network is None:
        raise CommandError(f"{rig} has no [network]; to play a rig on one machine: bayleaf run {rig}")
    if network.machine in network.engines:
        raise CommandError(
            f"{network.machine} is an engine of this rig; start it with: bayleaf run {rig}; "
            "or give --machine with the name of a machine that lends its ports"
        )
    system = system_for(loaded, backend, name, say)
    leave_signals_to_the_show()
    try:
        trio.run(lender_process.lend, loaded, rig, PortOpener(system, virtual), say)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    finally:
        system.close()
