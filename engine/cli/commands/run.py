"""`bayleaf run`: play a rig."""

from functools import partial
from pathlib import Path
from typing import Annotated

import trio
import typer

from engine.cli.commands import panel
from engine.cli.commands.lend import as_machine
from engine.cli.output import Backend, CommandError, Machine, heeded_by_the_show, say
from engine.cli.commands.panel import beside as panel_command
from engine.cluster.link.link import LinkError
from engine.live.port_opening import SamePort, system_for
from engine.live.process.engine_process import EngineProcess
from engine.live.process.instance_lock import NameTaken
from engine.panel.panel_supervisor import keep_beside
from engine.rig.read.load import read, text_of


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("run")(run)


def run(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    name: Annotated[str, typer.Option("--name", help="The name that the ports and the socket carry.")] = "bayleaf",
    machine: Machine = None,
    backend: Backend = None,
    virtual: Annotated[
        bool, typer.Option("--virtual", help="Make ports of our own for other programs to join, one each.")
    ] = False,
    panel: Annotated[bool, typer.Option("--panel", help="Serve the front panel, too: a page for the browser.")] = False,
    panel_port: Annotated[
        int, typer.Option("--panel-port", min=0, max=65535, help="Where browsers find it; 0 takes a free port.")
    ] = panel.PORT,
) -> None:
    """Open the ports, recall the start scene and route until stopped (Ctrl-C)."""
    text = text_of(rig)
    loaded = as_machine(read(text, str(rig)), machine)
    network = loaded.network
    if network is not None and network.machine not in network.engines:
        raise CommandError(
            f"{network.machine} is no engine of this rig, but lends its ports; start it with: bayleaf lend {rig}"
        )
    system = system_for(loaded, backend, name)
    heeded_by_the_show()
    try:
        beside = [partial(keep_beside, panel_command(name, panel_port), say)] if panel else []
        trio.run(EngineProcess(loaded, text, rig, name, virtual, say, beside).run, system)
    except (NameTaken, SamePort, LinkError) as fault:
        raise CommandError(str(fault)) from None
    except OSError as fault:
        raise CommandError(f"the engine's socket cannot be made: {fault.strerror}: {fault.filename}") from None
    finally:
        system.close()
