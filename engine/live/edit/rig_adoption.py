"""Adopts an edited rig in the running show, and releases the ports that it no longer has."""

from engine.core.compiled import CompiledRig
from engine.live.show import Show
from engine.rig.edit.scene_edits import EditError
from engine.rig.models.rig import Rig
from engine.rig.read.load import read


def adopt(show: Show, compiled: CompiledRig, text: str) -> None:
    """Go on with an edited rig in one step. Ports that it no longer has, or has elsewhere, are released.

    `text`: what the rig was read from.
    """
    before, rig = show.engine.rig, compiled.rig
    show.adopt(compiled, text)
    for source, name in enumerate(show.inputs):
        if name in before.inputs and before.inputs[name] != rig.inputs.get(name):
            show.ports.release_input(source)
    for output, name in enumerate(show.outputs):
        if name in before.outputs and _place(before, name) != _place(rig, name):
            show.ports.release_output(output)
    show.refused = None


def read_here(text: str, source: str, playing: Rig) -> Rig:
    """An edited text as a rig on the current rig's machine. Raises RigError and EditError."""
    rig = read(text, source)
    if (rig.network is None) != (playing.network is None):
        raise EditError("[network] cannot be added or removed while the rig plays; stop the engine and start it again")
    try:
        return rig.on(playing.network.machine) if playing.network is not None else rig
    except ValueError as fault:
        raise EditError(str(fault)) from None


def _place(rig: Rig, name: str) -> tuple[str | None, ...] | None:
    """Which port of which machine an output of a rig is."""
    port = rig.outputs.get(name)
    return (port.port, port.device, rig.home(port)) if port is not None else None
