"""Opens the ports of a rig: by name pattern, as virtual ports, as byte devices, or at other machines."""

import contextlib
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol, TypeVar

from engine.ports.no_system import NoSystem
from engine.ports.open_system import open_device_input, open_device_output, open_keyboard, open_system
from engine.ports.port import InputPort, OutputPort, PortError, PortSystem
from engine.rig.models.rig import Input, Output, Rig

_Port = TypeVar("_Port", InputPort, OutputPort)

_PATIENCE: Final = 5.0  # seconds after which a start goes on without the ports that are not open yet
_LATER: Final = "opening the others took long; it is opened while the show runs"


@dataclass
class OpenPorts:
    """The open ports by rig name, a sentence for each that could not be opened, and what carries the messages."""

    inputs: dict[str, InputPort] = field(default_factory=dict)
    outputs: dict[str, OutputPort] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    driver: Callable[[], str] = str

    def close(self) -> None:
        """Close all of them."""
        for source in self.inputs.values():
            source.close()
        for output in self.outputs.values():
            output.close()


class SamePort(PortError):
    """Two names of the rig lead to one port of the system."""


def system_for(
    rig: Rig, backend: str | None, client_name: str, say: Callable[[str], None] = lambda text: None
) -> PortSystem:
    """The ports of a backend; None: the usual one of this system, which a rig of byte devices alone can do without.

    `say`: see open_system. Raises PortError, NotRunning.
    """
    try:
        return open_system(backend, client_name, say)
    except PortError as fault:
        wanted: tuple[Input | Output, ...] = (*rig.inputs.values(), *rig.outputs.values())
        if backend is not None or any(port.port is not None and not rig.is_remote(port) for port in wanted):
            raise
        return NoSystem(str(fault))


class RemotePortOpener(Protocol):
    """Opens the ports of other machines."""

    def has(self, wanted: Input | Output) -> bool:
        """Whether this port is at another machine."""

    def input(self, name: str, wanted: Input) -> InputPort:
        """A rig's input there. Raises PortError."""

    def output(self, name: str, wanted: Output) -> OutputPort:
        """A rig's output there. Raises PortError."""

    def share(self, name: str, port: InputPort) -> InputPort:
        """An input that is plugged in here, shared with other machines if they need it."""


class PortOpener:
    """Opens ports one by one. With `virtual`, Bayleaf offers ports of the rig's names instead of opening others."""

    def __init__(self, system: PortSystem, virtual: bool, remote: RemotePortOpener | None = None) -> None:
        self.system = system
        self._virtual = virtual
        self._remote = remote

    def prepare(self, inputs: Iterable[Input], outputs: Iterable[Output]) -> None:
        """Get ready to open these, which are missing now. If that fails, opening them will fail and say why."""
        if self._virtual:
            return
        with contextlib.suppress(PortError):
            self.system.prepare(sum(map(self._of_system, inputs)), sum(map(self._of_system, outputs)))

    def _of_system(self, wanted: Input | Output) -> bool:
        return wanted.port is not None and (self._remote is None or not self._remote.has(wanted))

    def input(self, name: str, wanted: Input) -> InputPort:
        """The rig's input of this name. Raises PortError."""
        if self._remote is not None and self._remote.has(wanted):
            return self._remote.input(name, wanted)
        port = self._input_here(name, wanted)
        return port if self._remote is None else self._remote.share(name, port)

    def _input_here(self, name: str, wanted: Input) -> InputPort:
        if wanted.device is not None:
            return open_device_input(wanted.device)
        if wanted.keyboard is not None:
            return open_keyboard(wanted.keyboard)
        if self._virtual:
            return self.system.open_virtual_input(name)
        return self.system.open_input(wanted.port or "")

    def output(self, name: str, wanted: Output) -> OutputPort:
        """The rig's output of this name. Raises PortError."""
        if self._remote is not None and self._remote.has(wanted):
            return self._remote.output(name, wanted)
        if wanted.device is not None:
            return open_device_output(wanted.device)
        if self._virtual:
            return self.system.open_virtual_output(name)
        return self.system.open_output(wanted.port or "")


def connect(rig: Rig, opener: PortOpener, clock: Callable[[], float] = time.monotonic) -> OpenPorts:
    """Open every port of a rig; those that cannot be opened are in `missing`. Raises SamePort.

    The system may take long for each, so those that five seconds are not enough for are missing, too.
    """
    opened = OpenPorts(driver=lambda: opener.system.driver)
    end = clock() + _PATIENCE

    def late() -> bool:
        return clock() > end

    try:
        _open_all("inputs", rig.inputs, opened.inputs, opened.missing, opener.input, late)
        _open_all("outputs", rig.outputs, opened.outputs, opened.missing, opener.output, late)
    except SamePort:
        opened.close()
        raise
    opener.prepare(
        [wanted for name, wanted in rig.inputs.items() if name not in opened.inputs],
        [wanted for name, wanted in rig.outputs.items() if name not in opened.outputs],
    )
    return opened


_Wanted = TypeVar("_Wanted", Input, Output)


def _open_all(
    what: str,
    wanted: Mapping[str, _Wanted],
    opened: dict[str, _Port],
    missing: dict[str, str],
    open_one: Callable[[str, _Wanted], _Port],
    late: Callable[[], bool],
) -> None:
    names: dict[str, str] = {}  # the system's name -> the rig's
    for name, port in wanted.items():
        if late():
            missing[f"{what}.{name}"] = _LATER
            continue
        try:
            opened[name] = open_one(name, port)
        except PortError as fault:
            missing[f"{what}.{name}"] = str(fault)
            continue
        taken = names.setdefault(opened[name].name, name)
        if taken != name:
            raise SamePort(f'{what}: "{taken}" and "{name}" both lead to the port "{opened[name].name}"; name it once')
