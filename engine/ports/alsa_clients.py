"""Which ports of the ALSA sequencer are connected, as Linux lists them (sound/core/seq/seq_clientmgr.c)."""

import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

_CLIENTS: Final = Path("/proc/asound/seq/clients")
_CLIENT: Final = re.compile(r'Client +(\d+) : "(.*)" \[')
_PORT: Final = re.compile(r'  Port +(\d+) : "(.*)" \(')
_JOINED: Final = re.compile(r"    Connect(?:ing To|ed From): ")
_SAME: Final = 20_000_000  # ns for which a look serves; one costs as much as the list is long
_ADDRESS: Final = re.compile(r"(\d+:\d+)")


class AlsaConnections:
    """The list of connections; one look serves all ports that ask at about the same time."""

    def __init__(self, clients: Path = _CLIENTS, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self._clients = clients
        self._clock = clock
        self._looked = (0, dict[str, list[str]]())  # when (ns), and what it showed

    def of(self, name: str) -> list[str]:  # inputs: reader thread, outputs: loop
        """The ports, as "client:port", that are connected to the one of this name, which ends in its address ("128:0").

        An unknown port has an empty list; so has every port where the kernel does not list connections.
        """
        now = self._clock()
        looked_at, joined = self._looked
        if now - looked_at > _SAME:
            joined = self._look()
            self._looked = now, joined
        return joined.get(name.rsplit(" ", 1)[-1], [])

    def forget(self) -> None:
        """Look again next time: a port may have been connected since the last look."""
        self._looked = (0, {})

    def _look(self) -> dict[str, list[str]]:
        """The names of what is connected to each port, by its address."""
        try:
            listed = self._clients.read_text(encoding="utf-8", errors="replace")
        except OSError:
            return {}
        names: dict[str, str] = {}
        found: dict[str, list[str]] = {}
        number = client = address = ""
        for line in listed.splitlines():
            if match := _CLIENT.match(line):
                number, client = match.groups()
            elif match := _PORT.match(line):
                address = f"{number}:{match[1]}"
                names[address] = f"{client}:{match[2]}"
            elif match := _JOINED.match(line):
                found.setdefault(address, []).extend(_ADDRESS.findall(line, match.end()))
        return {port: [names[each] for each in joined if each in names] for port, joined in found.items()}
