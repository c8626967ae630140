"""Which of the system's ports a pattern matches.

Patterns are shell-style and ignore case. They are compared with the name without what the driver appends, which changes
at each replug: ALSA's " 128:0", or on WinMM the index after every name. A full name always wins over its meaning as a
pattern, so that names with brackets can be reached. Of ports with the same name, "#2" is the second in the system's
order.
"""

import re
from collections.abc import Sequence
from difflib import get_close_matches
from fnmatch import fnmatchcase
from functools import lru_cache
from typing import Final

from engine.ports.port import PortError

_VOLATILE: Final = re.compile(r" \d+:\d+$")
_INDEX: Final = re.compile(r" \d+$")
_ORDINAL: Final = re.compile(r"(.+?) ?#(\d+)$", re.DOTALL)


def plain(name: str, indexed: bool = False) -> str:
    """The name without the driver's numbers; `indexed` if this driver puts an index after every name (WinMM)."""
    return (_INDEX if indexed else _VOLATILE).sub("", name)


def resolve(pattern: str, names: Sequence[str], indexed: bool = False) -> str:
    """The one name in `names` that the pattern matches. Raises PortError, with the candidates, for none or several."""
    plains = [plain(name, indexed) for name in names]
    found = _matches(pattern, names, plains)
    if len(found) == 1:
        return names[found[0]]
    if found:
        raise PortError(_tell_apart(pattern, [names[i] for i in found], {plains[i] for i in found}))
    ordinal = _ORDINAL.fullmatch(pattern)
    if ordinal:
        several = _matches(ordinal[1], names, plains)
        if 1 <= int(ordinal[2]) <= len(several) and len({plains[i] for i in several}) == 1:
            return names[several[int(ordinal[2]) - 1]]
    raise PortError(f'no port matches "{pattern}"; {_nearest(pattern, tuple(plains))}{_listed(names)}')


def _matches(pattern: str, names: Sequence[str], plains: Sequence[str]) -> list[int]:
    """Indices of the full name, else of the plain name, else of the names that the pattern matches."""
    for written in (names, plains):
        exact = [i for i, name in enumerate(written) if name == pattern]
        if exact:
            return exact
    lowered = pattern.lower()
    return [i for i, name in enumerate(plains) if fnmatchcase(name.lower(), lowered)]


def _tell_apart(pattern: str, found: Sequence[str], plains: set[str]) -> str:
    remedy = "make the pattern longer"
    if len(plains) == 1:
        remedy = f'they have the same name: write "{plains.pop()} #1" for the first of them, and so on'
    return f'"{pattern}" matches {len(found)} ports ({_quoted(found)}); {remedy}'


@lru_cache(maxsize=256)  # a missing port is looked for five times a second
def _nearest(pattern: str, plains: tuple[str, ...]) -> str:
    """The beginning of a list: the port whose name, or own part of it, is most like this pattern; empty if none is."""
    known = {part.casefold(): name for name in plains for part in (name.rpartition(":")[2], name)}
    close = get_close_matches(pattern.strip("*").casefold(), known, 1)
    return f'did you mean "{known[close[0]]}"? ' if close else ""


def _listed(names: Sequence[str]) -> str:
    return f"there are {_quoted(names)}" if names else "no MIDI port of this direction was found"


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
