"""Several machines on one: network namespaces as computers, joined by veth pairs to a bridge as by cables to a switch.

Everything is in namespaces of its own, the switch too; the computer's own network is not touched. Needs root
and `ip` and `ss` (Debian's iproute2). See ip-netns(8).
"""

import itertools
import os
import subprocess
from collections.abc import Sequence
from types import TracebackType
from typing import Self

from tests.support.paths import process_of

_halls = itertools.count()


class NamespaceNetwork:
    """Machines `names`, each with one cable to the same switch, addresses 10.77.0.1 and so on in their order."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self._mark = f"bayleaf-{os.getpid()}-{next(_halls)}"
        self._switch = f"{self._mark}-switch"
        self._made: list[str] = []
        self._bad: dict[str, subprocess.Popen[bytes]] = {}

    def __enter__(self) -> Self:
        try:
            self._add(self._switch)
            self._ip(self._switch, "link", "add", "switch", "type", "bridge")
            self._ip(self._switch, "link", "set", "switch", "up")
            for index, name in enumerate(self.names):
                self._plug_in(index, name)
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Take everything down; a namespace in which a process still runs stays until that ends."""
        while self._bad:
            _end(self._bad.popitem()[1])
        while self._made:
            _run("ip", "netns", "delete", self._made.pop())

    def address(self, name: str) -> str:
        """A machine's address."""
        return f"10.77.0.{self.names.index(name) + 1}"

    def command(self, name: str, *command: str) -> list[str]:
        """The command line that runs a command on a machine without a process in between: signals reach it directly."""
        return ["ip", "netns", "exec", self._namespace(name), *command]

    def at_switch(self, *command: str) -> list[str]:
        """The same, at the switch; its end of a machine's cable is `socket`."""
        return ["ip", "netns", "exec", self._switch, *command]

    def socket(self, name: str) -> str:
        """The switch's end of a machine's cable."""
        return f"socket{self.names.index(name)}"

    def take_address(self, name: str) -> None:
        """Remove a machine's address."""
        self._ip(self._namespace(name), "address", "delete", f"{self.address(name)}/24", "dev", "eth0")

    def give_address(self, name: str) -> None:
        """Give a machine its address."""
        self._ip(self._namespace(name), "address", "add", f"{self.address(name)}/24", "dev", "eth0")

    # cables

    def cut(self, name: str) -> None:
        """Pull a machine's cable: both ends see it."""
        self._ip(self._switch, "link", "set", self.socket(name), "down")

    def mend(self, name: str) -> None:
        """Put the cable back."""
        self._ip(self._switch, "link", "set", self.socket(name), "up")

    def part(self, one: str, other: str) -> None:
        """What two machines send each other no longer arrives; both reach the others, and neither is notified."""
        for here, there in ((one, other), (other, one)):
            nobody = ("lladdr", "02:00:00:00:00:ff", "dev", "eth0", "nud", "permanent")
            self._ip(self._namespace(here), "neigh", "replace", self.address(there), *nobody)

    def join(self, one: str, other: str) -> None:
        """They reach each other again."""
        for here, there in ((one, other), (other, one)):
            self._ip(self._namespace(here), "neigh", "delete", self.address(there), "dev", "eth0")

    def disturb(self, name: str, loss: float, delay_ms: float, jitter_ms: float) -> None:
        """Give a machine a bad cable, see `bad_cable`."""
        socket = self.socket(name)
        self._ip(self._switch, "link", "add", f"{socket}-far", "type", "veth", "peer", "name", f"{socket}-near")
        self._ip(self._switch, "link", "set", f"{socket}-far", "up", "promisc", "on")
        self._ip(self._switch, "link", "set", f"{socket}-near", "up")
        program = [*process_of("bad_cable"), socket, f"{socket}-far", str(loss), str(delay_ms), str(jitter_ms)]
        cable = subprocess.Popen(self.at_switch(*program), stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._bad[name] = cable
        assert cable.stdout is not None
        assert cable.stdin is not None
        cable.stdout.readline()  # it is ready, so that the cable is away only for a moment
        self._ip(self._switch, "link", "set", socket, "nomaster", "promisc", "on")
        self._ip(self._switch, "link", "set", f"{socket}-near", "master", "switch")
        cable.stdin.write(b"go\n")
        cable.stdin.flush()

    def calm(self, name: str) -> None:
        """Replace it by a good one."""
        socket = self.socket(name)
        _end(self._bad.pop(name))
        self._ip(self._switch, "link", "delete", f"{socket}-far")
        self._ip(self._switch, "link", "set", socket, "master", "switch", "promisc", "off")

    def listening(self, name: str) -> list[str]:
        """The open sockets of a machine: "tcp 10.77.0.1:7410" and so on (ss(8))."""
        listing = _run(*self.command(name, "ss", "-Hlntu"))
        return sorted(f"{line.split()[0]} {line.split()[4]}" for line in listing.splitlines())

    def _plug_in(self, index: int, name: str) -> None:
        namespace = self._namespace(name)
        self._add(namespace)
        self._ip(namespace, "link", "set", "lo", "up")
        peer = ("peer", "name", self.socket(name), "netns", self._switch)
        self._ip(namespace, "link", "add", "eth0", "type", "veth", *peer)
        self.give_address(name)
        # the kernel asks for a lost neighbour's address once per second, which would slow down every return
        _run(*self.command(name, "sysctl", "-qw", "net.ipv4.neigh.eth0.retrans_time_ms=100"))
        self._ip(namespace, "link", "set", "eth0", "up")
        self._ip(self._switch, "link", "set", self.socket(name), "master", "switch", "up")

    def _namespace(self, name: str) -> str:
        return f"{self._mark}-{name}"

    def _add(self, namespace: str) -> None:
        _run("ip", "netns", "add", namespace)
        self._made.append(namespace)

    def _ip(self, namespace: str, *what: str) -> None:
        _run("ip", "-n", namespace, *what)


def _end(cable: subprocess.Popen[bytes]) -> None:
    cable.kill()
    cable.communicate()


def _run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}: {done.stderr}"
    return done.stdout
