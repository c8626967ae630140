"""Which ports of the ALSA sequencer are connected, as Linux lists them (sound/core/seq/seq_clientmgr.c)."""

import re
from pathlib import Path
from typing import Final

_CLIENTS: Final = Path("/proc/asound/seq/clients")
_CLIENT: Final = re.compile(r'Client +(\d+) : "(.*)" \[')
_PORT: Final = re.compile(r'  Port +(\d+) : "(.*)" \(')
_JOINED: Final = re.compile(r"    Connect(?:ing To|ed From): ")
_ADDRESS: Final = re.compile(r"(\d+:\d+)")


def joined_to(name: str, clients: Path = _CLIENTS) -> list[str]:
    """The ports, as "client:port", that are connected to the one of this name, which ends in its address ("128:0").

    Empty if there is no such port, or if this kernel does not list them.
    """
    try:
        listed = clients.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return []
    names: dict[str, str] = {}
    found: list[str] = []
    own = name.rsplit(" ", 1)[-1]
    number = client = address = ""
    for line in listed.splitlines():
        if match := _CLIENT.match(line):
            number, client = match.groups()
        elif match := _PORT.match(line):
            address = f"{number}:{match[1]}"
            names[address] = f"{client}:{match[2]}"
        elif address == own and (match := _JOINED.match(line)):
            found += _ADDRESS.findall(line, match.end())
    return [names[each] for each in found if each in names]
