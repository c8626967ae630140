"""Checks of `[chains]`: names that lead nowhere, circles, and chains that become too long through others in them."""

from collections.abc import Iterator
from typing import Final

from engine.rig.models.references import references
from engine.rig.models.rig import Rig
from engine.rig.read.raw_data import Complaint, Data, Keys, refer, table

LONGEST_CHAIN: Final = 256  # filters and names of chains, with those in it; chains in chains double at each step


def check_chains(data: Data) -> Iterator[Complaint]:
    """All mistakes between chains. Routes, lines and ports that name a chain are checked like all references."""
    chains = table(data, "chains")
    inner = {name: _named(found, ("chains", name)) for name, found in chains.items()}
    for places in inner.values():
        for keys, name in places:
            yield from refer(data, "chains", name, keys)
    known = {name: [each for _, each in places if each in chains] for name, places in inner.items()}
    order, circle = _inmost_first(known)
    if circle:
        text = f"a circle: {' in '.join(map(_quoted, circle))}; a chain cannot be in itself, so take one of them out"
        yield Complaint(("chains", circle[0]), text)
        return
    lengths: dict[str, int] = {}
    for name in order:  # names count, too, or chains of nothing but names could still double at each step
        own = len(chains[name]) if isinstance(chains[name], list) else 0
        lengths[name] = min(own + sum(lengths[one] for one in known[name]), LONGEST_CHAIN + 1)
    too_long = next((name for name in chains if lengths[name] > LONGEST_CHAIN), None)
    if too_long is not None:
        text = f"with the chains in it this one has more than {LONGEST_CHAIN} filters and names; make it shorter"
        yield Complaint(("chains", too_long), text)
        return
    yield from _through_chains(data, lengths)


def _through_chains(data: Data, lengths: dict[str, int]) -> Iterator[Complaint]:
    """Routes, lines, ports and instruments whose chains are too long together."""
    through: dict[Keys, int] = {}
    for keys, mark, name in references(data, Rig) if lengths else ():
        if mark.section == "chains" and keys[0] != "chains" and name in lengths:
            through[keys[:-1]] = through.get(keys[:-1], 0) + lengths[str(name)]
    for keys, length in through.items():
        if length > LONGEST_CHAIN:
            yield Complaint(keys, f"the chains in it have more than {LONGEST_CHAIN} filters and names; make it shorter")


def _named(found: object, keys: Keys) -> list[tuple[Keys, str]]:
    listed = found if isinstance(found, list) else []
    return [((*keys, place), each) for place, each in enumerate(listed) if isinstance(each, str)]


def _quoted(name: str) -> str:
    return f'"{name}"'


def _inmost_first(known: dict[str, list[str]]) -> tuple[list[str], list[str]]:
    """The chains, each after those in it, as far as there is no circle; and the first circle, its first name again
    at the end, or nothing.
    """
    done: dict[str, None] = {}
    for start in known:
        way = {} if start in done else {start: iter(known[start])}
        while way:
            last = next(reversed(way))
            name = next(way[last], None)
            if name is None:
                done[last] = None
                del way[last]
            elif name in way:
                names = [*way]
                return [*done], [*names[names.index(name) :], name][::-1]
            elif name not in done:
                way[name] = iter(known[name])
    return [*done], []
