"""Which of the system's ports a pattern means.

Patterns are shell-style and do not mind case. They are held against the name without what the driver appends and
changes at each replug: ALSA's " 128:0". A name written out in full always wins over its meaning as a pattern, so that
names with brackets can be reached. Ports of one name are told apart by "#2" for the second, in the system's order.
"""

import re
from collections.abc import Sequence
from fnmatch import fnmatchcase
from typing import Final

from engine.ports.port import PortError

_VOLATILE: Final = re.compile(r" \d+:\d+$")
_ORDINAL: Final = re.compile(r"(.*\S) ?#(\d+)$")


def plain(name: str) -> str:
    """The name without the driver's numbers."""
    return _VOLATILE.sub("", name)


def resolve(pattern: str, names: Sequence[str]) -> str:
    """The one name in `names` that the pattern means. Raises PortError, with the candidates, for none or several."""
    found = _matches(pattern, names)
    if len(found) == 1:
        return found[0]
    if found:
        return _tell_apart(pattern, found)
    ordinal = _ORDINAL.fullmatch(pattern)
    if ordinal:
        several = _matches(ordinal[1], names)
        if 1 <= int(ordinal[2]) <= len(several) and len({plain(name) for name in several}) == 1:
            return several[int(ordinal[2]) - 1]
    raise PortError(f'no port matches "{pattern}"; {_listed(names)}')


def _matches(pattern: str, names: Sequence[str]) -> list[str]:
    exact = [name for name in names if pattern in (name, plain(name))]
    if exact:
        return exact
    lowered = pattern.lower()
    return [name for name in names if fnmatchcase(plain(name).lower(), lowered)]


def _tell_apart(pattern: str, found: Sequence[str]) -> str:
    if len({plain(name) for name in found}) == 1:
        remedy = f'they have one name: write "{plain(found[0])} #1" for the first of them, and so on'
    else:
        remedy = "make the pattern longer"
    raise PortError(f'"{pattern}" matches {len(found)} ports ({_quoted(found)}); {remedy}')


def _listed(names: Sequence[str]) -> str:
    return f"there are {_quoted(names)}" if names else "the system has no such ports at all"


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
