"""`[network]`: the machines that a rig is spread over, and which of them dials which.

A port without `machine` is plugged into `main`, the machine that is in charge at the start.
"""

import re
from ipaddress import IPv4Address
from typing import Annotated, Final

from pydantic import AfterValidator, BeforeValidator, Field

from engine.rig.models.references import Reference
from engine.rig.models.values import Part, Text

_MACHINE: Final = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_-]{0,62}[A-Za-z0-9])?")
_ADDRESS: Final = re.compile(r"([0-9.]+):([0-9]{1,5})")


def host_of(listen: str) -> IPv4Address:
    """The address in "HOST:PORT". Raises ValueError."""
    return IPv4Address(listen.rpartition(":")[0])


def _machine(found: str) -> str:
    if not _MACHINE.fullmatch(found):
        raise ValueError("a machine's name: letters, digits, - and _, such as stage-left")
    return found


def _address(found: str) -> str:
    """IPv4 only: zenoh 1.10 accepts no IPv6 address where certificates are checked."""
    parts = _ADDRESS.fullmatch(found)
    try:
        if parts is None or not 1 <= int(parts[2]) <= 65535:
            raise ValueError
        host = IPv4Address(parts[1])
        if host.is_unspecified or host.is_multicast:
            raise ValueError
    except ValueError:
        raise ValueError('the machine\'s own address (IPv4) and a port, such as "192.168.10.2:7410"') from None
    return f"{host}:{int(parts[2])}"


def _dialled(found: object) -> object:
    if not isinstance(found, list):
        raise ValueError('a list of machines such as ["desk"], or [] for none')
    return tuple(found)


MachineName = Annotated[str, AfterValidator(_machine)]


class Machine(Part):
    """Where a machine listens, and which machines it dials; by default all earlier ones in the table."""

    listen: Annotated[str, AfterValidator(_address)]
    dial: Annotated[tuple[str, ...] | None, BeforeValidator(_dialled), Reference("machines", many=True)] = None


class Network(Part):
    """The machines of a rig. `machine` is the one that reads this file, unless --machine names another."""

    machine: Annotated[str, Reference("machines")]
    main: Annotated[str, Reference("machines")]
    standby: Annotated[str | None, Reference("machines")] = None
    keys: Text | None = None  # a folder, relative to the rig file
    plain: bool = False
    discover: bool = False
    machines: Annotated[dict[MachineName, Machine], Field(min_length=1)]

    @property
    def engines(self) -> tuple[str, ...]:
        """The machines that may be in charge, first the one that is at the start."""
        return (self.main,) if self.standby is None else (self.main, self.standby)

    @property
    def number(self) -> int:
        """The number of this machine, from 0: the engines come first."""
        return list(dict.fromkeys((*self.engines, *self.machines))).index(self.machine)

    @property
    def loopback(self) -> bool:
        """Whether all machines are on this computer."""
        return all(host_of(machine.listen).is_loopback for machine in self.machines.values())

    @property
    def encrypted(self) -> bool:
        """Whether links are QUIC with certificates on both sides."""
        return not self.plain and not self.loopback

    def dials(self, name: str) -> tuple[str, ...]:
        """The machines that a machine dials."""
        said = self.machines[name].dial
        if said is not None:
            return said
        names = [*self.machines]
        return tuple(names[: names.index(name)])

    def home(self, machine: str | None) -> str:
        """The machine that a port with this `machine` is plugged into."""
        return machine or self.main
