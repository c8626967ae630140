"""The ports that a rig has at one machine, read out of its text by the lending machine's worker process."""

import pickle
from typing import NamedTuple

from engine.rig.models.pickled import pickled
from engine.rig.models.rig import Input, Output, Rig
from engine.rig.read.load import read


class PortsHere(NamedTuple):
    """The ports of one machine, by name."""

    inputs: dict[str, Input]
    outputs: dict[str, Output]


def ports_at(rig: Rig, machine: str) -> PortsHere:
    """The ports that this rig has at a machine."""
    return PortsHere(
        {name: port for name, port in rig.inputs.items() if rig.home(port) == machine},
        {name: port for name, port in rig.outputs.items() if rig.home(port) == machine},
    )


def ports_in(text: str, machine: str) -> bytes:
    """The same of the rig in a text, pickled; the rest of it stays here. Raises RigError, FilterFault, ValueError."""
    return pickled(ports_at(read(text, "the rig", lists=False).on(machine), machine))


def unpacked(ports: bytes) -> PortsHere:
    """The ports that `ports_in` has found in another process."""
    found: PortsHere = pickle.loads(ports)
    return found
