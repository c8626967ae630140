"""`bayleaf run`: plays a rig."""

from functools import partial
from typing import Annotated, Final

import trio
import typer

from engine.cli.commands import panel
from engine.cli.commands.panel import beside as panel_command
from engine.cli.options import Backend, Machine, RigFile, Virtual
from engine.cli.output import CommandError, leave_signals_to_the_show, say
from engine.cli.rig_lookup import as_machine
from engine.cluster.link.link import LinkError
from engine.live.port_opening import SamePort, system_for
from engine.live.process.end_within import end_within
from engine.live.process.engine_process import EngineProcess
from engine.live.process.instance_lock import NameTaken
from engine.panel.panel_supervisor import keep_beside
from engine.rig.read.load import read, text_of

_END_WITHIN: Final = 4.7  # seconds from the first signal to the end, whatever hangs


def run(
    rig: RigFile,
    name: Annotated[str, typer.Option("--name", help="Name for the ports and the socket.")] = "bayleaf",
    machine: Machine = None,
    backend: Backend = None,
    virtual: Virtual = False,
    panel: Annotated[bool, typer.Option("--panel", help="Also serve the front panel, a web page.")] = False,
    panel_port: Annotated[
        int,
        typer.Option(
            "--panel-port", metavar="N", min=0, max=65535, help="TCP port of the front panel; 0 takes a free one."
        ),
    ] = panel.PORT,
    lan: Annotated[bool, typer.Option("--lan", help="With --panel: admit paired browsers on other machines.")] = False,
) -> None:
    """Play a rig until stopped (Ctrl-C).

    Opens the ports of the rig, recalls the start scene and routes.

    Example: bayleaf run pit.toml
    """
    if lan and not panel:
        raise typer.BadParameter(
            "goes with --panel: it is the front panel that other machines reach", param_hint="--lan"
        )
    text = text_of(rig)
    loaded = as_machine(read(text, str(rig)), machine)
    network = loaded.network
    if network is not None and network.machine not in network.engines:
        raise CommandError(
            f"{network.machine} is not an engine of this rig but lends its ports; start it with: bayleaf lend {rig}"
        )
    system = system_for(loaded, backend, name, say)
    leave_signals_to_the_show()
    try:
        beside = [partial(keep_beside, panel_command(name, panel_port, lan), say)] if panel else []
        ending = partial(end_within, _END_WITHIN)
        trio.run(EngineProcess(loaded, text, rig, name, virtual, say, beside, ending).run, system)
    except (NameTaken, SamePort, LinkError) as fault:
        raise CommandError(str(fault)) from None
    except OSError as fault:
        raise CommandError(f"the engine's socket cannot be created: {fault.strerror}: {fault.filename}") from None
    finally:
        system.close()
