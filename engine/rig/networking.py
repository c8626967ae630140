"""`[network]`: the machines a rig is spread over, and who dials whom.

Ports without `machine` are on the machine that is in charge at the start, `main`.
"""

import re
from ipaddress import ip_address
from typing import Annotated, Final

from pydantic import AfterValidator, BeforeValidator, Field

from engine.rig.values import Part, Text

_MACHINE: Final = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_-]{0,62}[A-Za-z0-9])?")
_ADDRESS: Final = re.compile(r"(?:\[(?P<six>[0-9A-Fa-f:.]+)\]|(?P<four>[0-9.]+)):(?P<port>[0-9]{1,5})")


def host_of(address: str) -> str:
    """The IP address in "HOST:PORT", without the brackets that one of version 6 stands in."""
    return address.rpartition(":")[0].strip("[]")


def _machine(found: str) -> str:
    if not _MACHINE.fullmatch(found):
        raise ValueError("a machine's name: letters, digits, - and _, such as stage-left")
    return found


def _address(found: str) -> str:
    parts = _ADDRESS.fullmatch(found)
    try:
        if parts is None or not 1 <= int(parts["port"]) <= 65535:
            raise ValueError
        host = ip_address(parts["six"] or parts["four"])
        if (host.version == 6) != (parts["six"] is not None) or host.is_unspecified or host.is_multicast:
            raise ValueError
    except ValueError:
        raise ValueError('the machine\'s own address and a port, such as "192.168.10.2:7447"') from None
    return f"[{host}]:{parts['port']}" if host.version == 6 else f"{host}:{parts['port']}"


def _dialled(found: object) -> object:
    if not isinstance(found, list):
        raise ValueError('a list of machines such as ["desk"], or [] for none')
    return tuple(found)


MachineName = Annotated[str, AfterValidator(_machine)]


class Machine(Part):
    """Where a machine listens, and whom it dials: all machines earlier in the table unless it says otherwise."""

    listen: Annotated[str, AfterValidator(_address)]
    dial: Annotated[tuple[str, ...], BeforeValidator(_dialled)] | None = None


class Network(Part):
    """The machines of a rig. `machine` is the one that reads this; the command line may say another."""

    machine: str
    main: str
    standby: str | None = None
    keys: Text | None = None  # a folder, relative to the rig file
    plain: bool = False
    discover: bool = False
    machines: Annotated[dict[MachineName, Machine], Field(min_length=1)]

    @property
    def engines(self) -> tuple[str, ...]:
        """The machines that may be in charge, the one that is at the start first."""
        return (self.main,) if self.standby is None else (self.main, self.standby)

    @property
    def loopback(self) -> bool:
        """Whether all machines are on this one computer."""
        return all(ip_address(host_of(machine.listen)).is_loopback for machine in self.machines.values())

    @property
    def encrypted(self) -> bool:
        """Whether links are QUIC with certificates on both sides."""
        return not self.plain and not self.loopback

    def dials(self, name: str) -> tuple[str, ...]:
        """Whom a machine dials."""
        said = self.machines[name].dial
        if said is not None:
            return said
        names = [*self.machines]
        return tuple(names[: names.index(name)])

    def home(self, machine: str | None) -> str:
        """The machine that a port with this `machine` is on."""
        return machine or self.main
