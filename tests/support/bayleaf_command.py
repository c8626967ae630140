"""The `bayleaf` command run in the test's own process: its result, and the fixture's type."""

from collections.abc import Callable
from typing import NamedTuple


class Said(NamedTuple):
    """Exit status, standard output and standard error of a command."""

    status: int
    out: str
    err: str


Bayleaf = Callable[..., Said]  # takes the words of the command, text or paths
