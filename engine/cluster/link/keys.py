"""The keys under which everything on the network is published, asked and shown.

A key is a path of `/`-separated parts; the first is the version of this format. Names of the rig and its ports may
contain any printable character. In keys they are percent-encoded (RFC 3986 section 2.1), so that they contain no space
and none of the characters with a meaning in zenoh's key expressions (`*`, `$`, `?`, `#`, `/`).
"""

from typing import Final
from urllib.parse import quote, unquote

VERSION: Final = "r1"


class NetworkKeys:
    """The keys of one rig."""

    def __init__(self, rig: str) -> None:
        self.root = f"{VERSION}/{_part(rig)}"

    def input(self, machine: str, port: str) -> str:
        """Events of an input; published by the machine that owns it."""
        return f"{self.root}/in/{machine}/{_part(port)}"

    def inputs(self, machine: str) -> str:
        """Every input of a machine, as a key expression."""
        return f"{self.root}/in/{machine}/*"

    def output(self, machine: str, port: str) -> str:
        """Orders for an output; published by the engine that holds its machine's lease."""
        return f"{self.root}/out/{machine}/{_part(port)}"

    def outputs(self, machine: str) -> str:
        """Every output of a machine, as a key expression."""
        return f"{self.root}/out/{machine}/*"

    def lease(self, machine: str) -> str:
        """Who may play a machine's outputs; published by that machine."""
        return f"{self.root}/lease/{machine}"

    def claim(self, machine: str) -> str:
        """The question to a machine: may I play your outputs?"""
        return f"{self.root}/claim/{machine}"

    def alive(self, machine: str) -> str:
        """The token that says that a machine's program runs."""
        return f"{self.root}/alive/{machine}"

    def plugged(self, machine: str, way: str, port: str) -> str:
        """The token of a port that is plugged in; `way` is "in" or "out"."""
        return f"{self.root}/alive/{machine}/{way}/{_part(port)}"

    def plugs(self, machine: str) -> str:
        """All tokens of a machine's ports, as a key expression."""
        return f"{self.root}/alive/{machine}/*/*"

    def state(self, what: str) -> str:
        """What the engine in charge keeps for machines that join later: "show", "clock" or "rig"."""
        return f"{self.root}/state/{what}"

    def command(self, machine: str, verb: str) -> str:
        """A question to a machine's program, such as "ping"."""
        return f"{self.root}/cmd/{machine}/{verb}"

    def meter(self, machine: str) -> str:
        """The report of a machine that lends: counters, queues and load. Has a folder of its own, see `Link`."""
        return f"{self.root}/meter/{machine}/report"


def machine_of(key: str) -> str:
    """The machine that a key names: the fourth part of all but `state`."""
    return key.split("/")[3]


def port_of(key: str) -> str:
    """The port's name that a key ends with."""
    return unquote(key.rpartition("/")[2])


def _part(name: str) -> str:
    return quote(name, safe="")
