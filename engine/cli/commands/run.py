"""`bayleaf run`: plays a rig."""

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.commands import panel
from engine.cli.commands.panel import OPEN
from engine.cli.commands.panel import beside as panel_command
from engine.cli.options import Backend, Machine, Virtual
from engine.cli.output import CommandError, leave_signals_to_the_show, say
from engine.cli.rig_lookup import as_machine
from engine.cluster.link.link import LinkError
from engine.live import music_loop
from engine.live.port_opening import SamePort, system_for
from engine.live.process.end_within import end_within
from engine.live.process.engine_process import EngineProcess
from engine.live.process.instance_lock import NameTaken
from engine.live.process.last_scene import draft_file
from engine.panel.panel_supervisor import keep_beside
from engine.ports.port import NotRunning, PortSystem
from engine.rig.edit.versions import RigVersions, SaveError
from engine.rig.models.rig import Rig
from engine.rig.read.load import read, text_of
from engine.rig.starter_rig import EMPTY

_LOOK: Final = 0.5  # seconds between two looks for a MIDI system
_END_WITHIN: Final = 4.7  # seconds from the first signal to the end, whatever hangs


def run(
    rig: Annotated[
        Path | None, typer.Argument(help="The rig file. Without one, the page opens with a rig to be made there.")
    ] = None,
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
    wait: Annotated[
        bool, typer.Option("--wait", help="Wait for a MIDI system that is not running yet, instead of ending.")
    ] = False,
    lan: Annotated[bool, typer.Option("--lan", help="With --panel: admit paired browsers on other machines.")] = False,
) -> None:
    """Play a rig until stopped (Ctrl-C).

    Opens the ports of the rig, recalls the start scene and routes. Without a rig file, the page opens in the browser,
    where a rig is made and saved.

    Example: bayleaf run pit.toml
    """
    if lan and not panel and rig is not None:
        raise typer.BadParameter(
            "goes with --panel: it is the front panel that other machines reach", param_hint="--lan"
        )
    file = rig or _draft(name)
    text = text_of(file)
    loaded = _for_an_engine(text, file, machine)
    opened = partial(system_for, loaded, backend, name, say)
    system = _waited_for(opened) if wait else opened()
    leave_signals_to_the_show()
    try:
        command = panel_command(name, panel_port, lan)
        opening = [*command, OPEN] if rig is None else command
        beside = [partial(keep_beside, command, say, opening)] if panel or rig is None else []
        ending = partial(end_within, _END_WITHIN)
        music_loop.run(EngineProcess(loaded, text, file, name, virtual, say, beside, ending, rig is None).run, system)
    except (NameTaken, SamePort, LinkError) as fault:
        raise CommandError(str(fault)) from None
    except OSError as fault:
        raise CommandError(f"the engine's socket cannot be created: {fault.strerror}: {fault.filename}") from None
    finally:
        system.close()


def _for_an_engine(text: str, file: Path, machine: str | None) -> Rig:
    """The rig as this machine plays it. Raises CommandError for a machine that only lends its ports."""
    loaded = as_machine(read(text, str(file)), machine)
    network = loaded.network
    if network is not None and network.machine not in network.engines:
        raise CommandError(
            f"{network.machine} is not an engine of this rig but lends its ports; start it with: bayleaf lend {file}"
        )
    return loaded


def _waited_for(opened: Callable[[], PortSystem]) -> PortSystem:
    """The ports of a MIDI system, as soon as it is running."""
    told = False
    while True:
        try:
            return opened()
        except NotRunning as fault:
            if not told:
                say(f"waiting until there is a MIDI system: {fault}")
            told = True
            time.sleep(_LOOK)


def _draft(name: str) -> Path:
    """The file of a rig that has no name yet: what was made before and never saved under a name, or an empty rig."""
    file = draft_file(name)
    if file.exists():
        say("going on with the rig that has no file yet; the page saves it")
        return file
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        RigVersions(file).save(EMPTY, None)
    except (OSError, SaveError) as fault:
        raise CommandError(f"{file} cannot be written: {fault}") from None
    return file
