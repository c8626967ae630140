"""Adopts an edited rig in the running show, and releases the ports that it no longer has."""

from typing import NamedTuple

from engine.core.cable.remote_cable import remote_outputs
from engine.core.compiled import CompiledRig, compile_rig
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.live.show import Show
from engine.rig.edit.toml_edits import EditError
from engine.rig.models.rig import Rig


class ReadyRig(NamedTuple):
    """An edited rig that can take over in one short step."""

    compiled: CompiledRig
    scenes: ScenesInPlay


def adopt(show: Show, ready: ReadyRig, text: str) -> None:
    """Go on with an edited rig in one step. Ports that it no longer has, or has elsewhere, are released.

    `text`: what the rig was read from.
    """
    before, rig = show.engine.rig, ready.compiled.rig
    show.adopt(ready.compiled, text, ready.scenes)
    for source, name in enumerate(show.inputs):
        if name in before.inputs and before.inputs[name] != rig.inputs.get(name):
            show.ports.release_input(source)
    for output, name in enumerate(show.outputs):
        if name in before.outputs and _place(before, name) != _place(rig, name):
            show.ports.release_output(output, _place(before, name))
        if name in rig.outputs:
            show.ports.take_back(output, _place(rig, name))  # an undo may be faster than a port closes
    show.refused = None


def on_our_machine(rig: Rig, playing: Rig) -> Rig:
    """An edited rig on the current rig's machine. Raises EditError."""
    if (rig.network is None) != (playing.network is None):
        raise EditError("[network] cannot be added or removed while the rig plays; stop the engine and start it again")
    try:
        return rig.on(playing.network.machine) if playing.network is not None else rig
    except ValueError as fault:
        raise EditError(str(fault)) from None


def made_ready(rig: Rig, playing: CompiledRig) -> ReadyRig:
    """An edited rig, ready to play in place of the present one. Any thread. Raises FilterFault."""
    compiled = compile_rig(rig, None, playing, remote_outputs(rig))
    return ReadyRig(compiled, ScenesInPlay(compiled.scenes, compiled.transposed))


def _place(rig: Rig, name: str) -> tuple[str | None, ...] | None:
    """Which port of which machine an output of a rig is."""
    port = rig.outputs.get(name)
    return (port.port, port.device, rig.home(port)) if port is not None else None
