"""What everything on the network is called.

A key is a path of `/`-separated parts, the first of which is the version of this format. Names of the rig and of its
ports may hold any printable sign; they stand in keys percent-encoded (RFC 3986 section 2.1), so that none of the signs
with a meaning in zenoh's key expressions (`*`, `$`, `?`, `#`, `/`) and no blank is left.
"""

from typing import Final
from urllib.parse import quote, unquote

VERSION: Final = "r1"


class NetworkKeys:
    """The keys of one rig."""

    def __init__(self, rig: str) -> None:
        self.root = f"{VERSION}/{_part(rig)}"

    def input(self, machine: str, port: str) -> str:
        """Events from an input; put by the machine that owns it."""
        return f"{self.root}/in/{machine}/{_part(port)}"

    def inputs(self, machine: str) -> str:
        """Every input of a machine, as a key expression."""
        return f"{self.root}/in/{machine}/*"

    def output(self, machine: str, port: str) -> str:
        """Orders for an output; put by the engine that holds its machine's lease."""
        return f"{self.root}/out/{machine}/{_part(port)}"

    def outputs(self, machine: str) -> str:
        """Every output of a machine, as a key expression."""
        return f"{self.root}/out/{machine}/*"

    def lease(self, machine: str) -> str:
        """Who may play a machine's outputs; put by that machine."""
        return f"{self.root}/lease/{machine}"

    def claim(self, machine: str) -> str:
        """The question to a machine: may I play your outputs?"""
        return f"{self.root}/claim/{machine}"

    def alive(self, machine: str) -> str:
        """The token of a machine's loop."""
        return f"{self.root}/alive/{machine}"

    def everyone(self) -> str:
        """All machines' tokens, as a key expression."""
        return f"{self.root}/alive/*"

    def plugged(self, machine: str, way: str, port: str) -> str:
        """The token of a port that is plugged in; `way` is "in" or "out"."""
        return f"{self.root}/alive/{machine}/{way}/{_part(port)}"

    def plugs(self, machine: str) -> str:
        """All tokens of a machine's ports, as a key expression."""
        return f"{self.root}/alive/{machine}/*/*"

    def state(self, what: str) -> str:
        """What the engine in charge keeps for late joiners: "show", "clock", "timecode" or "rig"."""
        return f"{self.root}/state/{what}"

    def held(self, machine: str, port: str) -> str:
        """The question to a machine: what is down and set at this input of yours?"""
        return f"{self.root}/held/{machine}/{_part(port)}"

    def all_held(self, machine: str) -> str:
        """That question for every input of a machine, as a key expression."""
        return f"{self.root}/held/{machine}/*"

    def command(self, machine: str, verb: str) -> str:
        """A question to a machine's program, such as "ping"."""
        return f"{self.root}/cmd/{machine}/{verb}"

    def meter(self, machine: str) -> str:
        """A machine's meters."""
        return f"{self.root}/meter/{machine}"

    def meters(self) -> str:
        """All machines' meters, as a key expression."""
        return f"{self.root}/meter/*"


def machine_of(key: str) -> str:
    """The machine that a key names: the fourth part of all but `state`."""
    return key.split("/")[3]


def port_of(key: str) -> str:
    """The port that a key ends in, as the rig has it."""
    return unquote(key.rpartition("/")[2])


def way_of(key: str) -> str:
    """ "in" or "out", of a port's token."""
    return key.rsplit("/", 2)[1]


def _part(name: str) -> str:
    return quote(name, safe="")
