"""Checks of `[chains]`: names that lead nowhere, circles, and chains that become too long through others in them."""

from collections.abc import Iterator
from typing import Final

from engine.rig.read.raw_data import Complaint, Data, Keys, refer, table

LONGEST_CHAIN: Final = 256  # filters, with those of the chains in it; chains in chains could double at each step


def check_chains(data: Data) -> Iterator[Complaint]:
    """All mistakes between chains. Routes, lines and ports that name a chain are checked like all references."""
    chains = table(data, "chains")
    inner = {name: _named(found, ("chains", name)) for name, found in chains.items()}
    for places in inner.values():
        for keys, name in places:
            yield from refer(data, "chains", name, keys)
    known = {name: [each for _, each in places if each in chains] for name, places in inner.items()}
    circle = _circle(known)
    if circle:
        text = f"a circle: {' in '.join(map(_quoted, circle))}; a chain cannot be in itself, so take one of them out"
        yield Complaint(("chains", circle[0]), text)
        return
    lengths: dict[str, int] = {}
    for name in chains:
        for each in _inmost_first(known, name):
            own = len(chains[each]) - len(known[each]) if isinstance(chains[each], list) else 0
            lengths.setdefault(each, own + sum(lengths[one] for one in known[each]))
        if lengths[name] > LONGEST_CHAIN:
            text = f"with the chains in it this one has more than {LONGEST_CHAIN} filters; make it shorter"
            yield Complaint(("chains", name), text)
            return


def _named(found: object, keys: Keys) -> list[tuple[Keys, str]]:
    listed = found if isinstance(found, list) else []
    return [((*keys, place), each) for place, each in enumerate(listed) if isinstance(each, str)]


def _quoted(name: str) -> str:
    return f'"{name}"'


def _circle(known: dict[str, list[str]]) -> list[str]:
    """The names of a circle, the first again at the end; none if there is no circle."""
    done: set[str] = set()
    for start in known:
        way = [start]
        left = [iter(known[start])]
        while way:
            name = next(left[-1], None)
            if name is None:
                done.add(way.pop())
                left.pop()
            elif name in way:
                return [*way[way.index(name) :], name][::-1]
            elif name not in done:
                way.append(name)
                left.append(iter(known[name]))
    return []


def _inmost_first(known: dict[str, list[str]], name: str) -> list[str]:
    """A chain and all in it, each after those that are in it; there is no circle."""
    order: dict[str, None] = {}
    left = [(name, False)]
    while left:
        each, inner_done = left.pop()
        if inner_done:
            order[each] = None
        elif each not in order:
            left.append((each, True))
            left += [(one, False) for one in known[each]]
    return [*order]
