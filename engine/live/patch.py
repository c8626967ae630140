"""Opens the ports a rig names: by pattern, as ports of its own, or as byte devices."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from engine.ports.open import open_device_input, open_device_output
from engine.ports.port import InputPort, OutputPort, PortError, PortSystem
from engine.rig.models import Input, Output, Rig

_Port = TypeVar("_Port", InputPort, OutputPort)


@dataclass
class Patch:
    """The open ports by rig name, and a sentence for each that could not be opened."""

    inputs: dict[str, InputPort] = field(default_factory=dict)
    outputs: dict[str, OutputPort] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)

    def close(self) -> None:
        """Close whatever is open."""
        for source in self.inputs.values():
            source.close()
        for output in self.outputs.values():
            output.close()


class SamePort(PortError):
    """Two names of the rig lead to one port of the system."""


def connect(rig: Rig, system: PortSystem, virtual: bool) -> Patch:
    """Open every port of a rig; what is missing is written down, not raised. Raises SamePort."""
    patch = Patch()
    make_input = system.open_virtual_input if virtual else system.open_input
    make_output = system.open_virtual_output if virtual else system.open_output
    try:
        _open_all("inputs", rig.inputs, patch.inputs, patch.missing, _opener(make_input, open_device_input, virtual))
        _open_all(
            "outputs", rig.outputs, patch.outputs, patch.missing, _opener(make_output, open_device_output, virtual)
        )
    except SamePort:
        patch.close()
        raise
    return patch


def _opener(
    by_name: Callable[[str], _Port], device: Callable[[str], _Port], virtual: bool
) -> Callable[[str, Input | Output], _Port]:
    def open_one(name: str, port: Input | Output) -> _Port:
        if port.device is not None:
            return device(port.device)
        assert port.port is not None
        return by_name(name if virtual else port.port)

    return open_one


def _open_all(
    what: str,
    wanted: Mapping[str, Input | Output],
    opened: dict[str, _Port],
    missing: dict[str, str],
    open_one: Callable[[str, Input | Output], _Port],
) -> None:
    names: dict[str, str] = {}  # the system's name -> the rig's
    for name, port in wanted.items():
        try:
            opened[name] = open_one(name, port)
        except PortError as fault:
            missing[f"{what}.{name}"] = str(fault)
            continue
        taken = names.setdefault(opened[name].name, name)
        if taken != name:
            raise SamePort(f'{what}: "{taken}" and "{name}" both lead to the port "{opened[name].name}"; name it once')
