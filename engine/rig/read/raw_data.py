"""Safe access to the data of a rig file before it has been checked: any value may be of any kind."""

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from heapq import nsmallest
from typing import Any, Final, NamedTuple

Keys = tuple[str | int, ...]
Data = dict[str, Any]
_SHOWN: Final = 40  # names in a sentence
_QUOTED: Final = 100  # characters of what is quoted
_LIKELY: Final = 300  # names that a wrong one is compared with: each takes some 50 µs, and a file may have many of both


class Complaint(NamedTuple):
    """A mistake and its place (keys as in the data, indices from 0)."""

    keys: Keys
    text: str
    once: bool = False  # the same text is reported at its first place only


def table(data: Any, key: str) -> Data:
    """The table at a key, or an empty one."""
    found = data.get(key) if isinstance(data, dict) else None
    return found if isinstance(found, dict) else {}


def tables(data: Any, key: str) -> list[tuple[int, Data]]:
    """The tables of a list, each with its index."""
    found = data.get(key) if isinstance(data, dict) else None
    return [(i, item) for i, item in enumerate(found) if isinstance(item, dict)] if isinstance(found, list) else []


def names(found: Any, keys: Keys) -> list[tuple[Keys, str]]:
    """A name or a list of names, each with its place."""
    if isinstance(found, str):
        return [(keys, found)]
    listed = found if isinstance(found, list) else []
    return [((*keys, i), name) for i, name in enumerate(listed) if isinstance(name, str)]


def no_such(what: str, name: object, known: Iterable[object]) -> str:
    """The sentence about a name that is not among the known ones."""
    listed = {str(one): one for one in known}
    if not listed:
        return f"there is no {what} {as_written(name)}; there are none"
    close = _nearest(name, [*listed]) if isinstance(name, str) else None  # nobody misspells a number
    remedy = f"did you mean {as_written(listed[close])}? " if close is not None else ""
    shown = [*listed][:_SHOWN]
    more = f" and {len(listed) - _SHOWN} more" if len(listed) > _SHOWN else ""
    return f"there is no {what} {as_written(name)}; {remedy}there are: {', '.join(shown)}{more}"


def _nearest(name: str, listed: list[str]) -> str | None:
    """The name that may have been meant, if any; looked for among those of about the same length."""
    if len(name) > _QUOTED:
        return None
    likely = nsmallest(_LIKELY, listed, key=lambda each: abs(len(each) - len(name)))
    folded = {each.casefold(): each for each in likely if len(each) <= _QUOTED}
    close = get_close_matches(name.casefold(), folded, 1)
    return folded[close[0]] if close else None


def as_written(name: object) -> str:
    """Names in quotes, numbers without; of a long name the beginning."""
    return f'"{shortened(name)}"' if isinstance(name, str) else str(name)


def shortened(text: str, most: int = _QUOTED) -> str:
    """The beginning of a text of more than this many characters."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def refer(data: Data, section: str, name: str, place: Keys) -> Iterator[Complaint]:
    """A complaint if the section has no such name. If the whole section is missing, a name is reported only once."""
    known = table(data, section)
    if not known:
        what = section.removesuffix("s")
        text = f"there is no {what} {as_written(name)}: this rig has no {section}; add it under [{section}]"
        yield Complaint(place, text, once=True)
    elif name not in known:
        yield Complaint(place, no_such(section.removesuffix("s"), name, known))
