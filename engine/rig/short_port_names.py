"""Short names for the ports of a system, as a player would call the gear: "stage-piano", not "midi-00-3"."""

import re
import unicodedata
from collections.abc import Sequence
from itertools import count
from typing import Final, NamedTuple

#: what drivers and bridges put into a port's name beside the device's own: "(capture)", "[20]"
_ASIDE: Final = re.compile(r"\([^)]*\)|\[[^]]*\]")
_WORD: Final = re.compile(r"[a-z0-9]+")
#: words that say nothing about the gear
_EMPTY: Final = frozenset(
    ["midi", "in", "out", "input", "output", "port", "ports", "capture", "playback", "system", "usb"]
)
_NAMELESS: Final = "midi"  # the gear of a port of whose name nothing is left


class _Parts(NamedTuple):
    """What a port's name says: the gear, the number of the port on it, and the program or device it belongs to."""

    gear: tuple[str, ...]
    number: str
    owner: tuple[str, ...]

    def choices(self) -> tuple[str, ...]:
        """Names for it, from the shortest."""
        numbered = (*self.gear, self.number) if self.number else self.gear
        return tuple(map("-".join, (self.gear, numbered, (*self.owner, *numbered))))


def short_names(ports: Sequence[str]) -> list[str]:
    """A name for each port, in order, all of them different: the shortest that tells it from the others.

    A port is called after its own part of the name (CLIENT:PORT), or after its client where its own part says nothing.
    """
    parts = [_parts(port) for port in ports]
    names: list[str] = []
    for port in parts:
        alike = [each.choices() for each in parts if each.gear == port.gear]
        level = next((level for level in range(3) if len({each[level] for each in alike}) == len(alike)), 1)
        name = port.choices()[level]
        numbered = (f"{name}-{number}" for number in count(2))
        names.append(name if name not in names else next(each for each in numbered if each not in names))
    return names


def gear_words(port: str) -> tuple[str, ...]:
    """The words of a port's name that say something about the gear."""
    return _read(port)[0]


def _parts(port: str) -> _Parts:
    client, _, own = port.partition(":")
    owner, _ = _read(client)
    gear, number = _read(own or client)
    return _Parts(gear or owner or (_NAMELESS,), number, owner if gear and gear != owner else ())


def _read(text: str) -> tuple[tuple[str, ...], str]:
    """The words that say something about the gear, each once, and the last number beside them; empty if none."""
    words, number = dict[str, None](), ""
    for word in _WORD.findall(_plain(text)):
        letters = word.rstrip("0123456789")
        if letters and letters not in _EMPTY:
            words[word] = None
        elif digits := word[len(letters) :]:
            number = str(int(digits))
    return tuple(words), number


def _plain(text: str) -> str:
    """Small letters without accents, and without what drivers put aside."""
    letters = unicodedata.normalize("NFKD", _ASIDE.sub(" ", text).casefold())
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
