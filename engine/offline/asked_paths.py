"""Asks compiled routes with all short messages that can differ: what comes out, and on which channels.

Most messages are alike to a chain of filters: of second data bytes only the values that its settings name, their
neighbours and a few others are asked.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import product
from typing import Any, Final, NamedTuple

from engine.core.routing.compiled_scene import RoutePath
from engine.core.routing.filter_chain import FilterFaults, run_chain, through
from engine.midi.kinds import CONTROLLER, NOTE_ON, SYSEX, is_press
from filters.registry import FilterSettings, Later

_BYTES: Final = range(128)
_CHANNELS: Final = range(16)
_ONE_BYTE: Final = range(0xC0, 0xE0, 0x10)  # program changes and channel pressure
_TYPICAL: Final = (0, 1, 64, 100, 126, 127)
#: filters that do not look at second data bytes, and those that treat all channels alike or say which they do not
BY_FIRST_BYTE: Final = frozenset(("add_bank", "channels", "clock", "notes", "programs", "strip", "transpose"))
_BLIND: Final = frozenset(
    ("channels", "clock", "controllers", "notes", "programs", "strip", "transpose", "velocity", "zone")
)
#: a message of each kind that has no channel
SYSTEM: Final = (
    *(bytes((each,)) for each in (0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF)),
    *(bytes.fromhex(each) for each in ("F1 00", "F2 00 00", "F3 00", "F0 7D 01 F7", "F0 7E 7F 06 01 F7")),
    *(bytes.fromhex(each) for each in ("F0 7F 7F 01 01 00 00 00 00 F7", "F0 7F 7F 04 01 00 40 F7")),
)


class Reach(NamedTuple):
    """The channels (0 to 15) on which presses, and other messages, arrive; whether system messages do."""

    notes: frozenset[int]
    others: frozenset[int]
    system: bool

    @property
    def channels(self) -> frozenset[int]:
        """On which anything arrives."""
        return self.notes | self.others


def second_bytes(chain: Iterable[FilterSettings]) -> tuple[int, ...]:
    """The values that may make a difference to these filters as the second data byte."""
    looking = (settings for settings in chain if settings.filter not in BY_FIRST_BYTE)
    found = {number for settings in looking for number in _numbers(settings.model_dump())}
    near = {number + step for number in found for step in (-1, 0, 1)}
    return tuple(sorted(near.intersection(_BYTES).union(_TYPICAL)))


def alike_channels(chain: Iterable[FilterSettings | None]) -> list[list[int]]:
    """The channels (0 to 15), those together that all filters treat alike; None is a filter that is not known."""
    known = [*chain]
    if any(each is None or each.filter not in _BLIND for each in known):
        return [[channel] for channel in _CHANNELS]
    tables = [each.model_dump() for each in known if each is not None and each.filter == "channels"]
    alike: dict[str, list[int]] = {}
    for at in range(1, 17):
        treated = [(at in each["keep"], at in each["drop"], each["map"].get(at)) for each in tables]
        alike.setdefault(repr(treated), []).append(at - 1)
    return [*alike.values()]


def _numbers(value: Any) -> Iterator[int]:
    if isinstance(value, Mapping):
        for key, each in value.items():
            yield from (*_numbers(key), *_numbers(each))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _numbers(each)
    elif isinstance(value, int) and not isinstance(value, bool):
        yield value


def presses(values: Sequence[int]) -> Iterator[bytes]:
    """Every key on every channel, with these velocities."""
    return (bytes((NOTE_ON | at, key, value)) for at in _CHANNELS for key in _BYTES for value in values if value)


def short_messages(data: Sequence[tuple[int, int]], channels: Sequence[int] = _CHANNELS) -> Iterator[bytes]:
    """Every short message of these channels, of those with two data bytes the ones with these."""
    for kind in range(0x80, SYSEX, 0x10):
        for at in channels:
            if kind in _ONE_BYTE:
                yield from (bytes((kind | at, first)) for first in _BYTES)
            else:
                yield from (bytes((kind | at, *both)) for both in data)


def _usual() -> Iterator[bytes]:
    """A few messages, by which most routes show where they lead."""
    for at in _CHANNELS:
        yield from (bytes((NOTE_ON | at, key, value)) for key in range(24, 108, 12) for value in (20, 64, 100))
        yield from (bytes((CONTROLLER | at, number, 64)) for number in (1, 7, 11, 64))


class PathAsker:
    """Asks paths, `most` times in all: what takes longer is not found out."""

    def __init__(self, most: int) -> None:
        self._left = most
        self._faults = FilterFaults()

    def usual(self, path: RoutePath) -> Reach:
        """Where a few usual messages arrive."""
        return self._reach(path, _usual())

    def whole(self, path: RoutePath, filters: Sequence[FilterSettings]) -> Reach | None:
        """Where any message arrives, `filters` being those on the way; None if that would take too long."""
        data = [*product(_BYTES, second_bytes(filters))]
        alike = alike_channels(filters)
        cost = 5 * sum(len(channels[:2]) for channels in alike) * len(data) * (8 if path.keeps_state else 1)
        if cost > self._left:
            return None
        self._left -= cost
        found = [self._on_alike(path, channels, data) for channels in alike]
        notes = frozenset[int]().union(*(each.notes for each in found))
        others = frozenset[int]().union(*(each.others for each in found))
        return Reach(notes, others, any(each.system for each in found))

    def _on_alike(self, path: RoutePath, channels: Sequence[int], data: Sequence[tuple[int, int]]) -> Reach:
        """Where messages of these channels arrive: two of them show whether they stay where they are."""
        first, *others = (self._reach(path, short_messages(data, (channel,))) for channel in channels[:2])
        if not others or first == others[0]:
            return first
        there, nowhere = frozenset(channels), frozenset[int]()
        return Reach(there if first.notes else nowhere, there if first.others else nowhere, first.system)

    def system(self, path: RoutePath) -> bool:
        """Whether a system message gets through."""
        return any(self._answers(path, message) for message in SYSTEM)

    def last_link(self, path: RoutePath, values: Sequence[int]) -> tuple[str, bool]:
        """The filter that stops the last of all presses, and whether it stops every press by itself."""
        flowing = {*presses(values)}
        for link in path.renewed().links:
            left = {one for each in flowing for one in self._pressed(link, each)}
            if not left:
                return link.name, not any(self._pressed(link, each) for each in presses(values))
            flowing = left
        return "", False

    def _pressed(self, link: Any, message: bytes) -> list[bytes]:
        given = through(link, (message,), 0, self._faults)
        return [one for one in (each.message if isinstance(each, Later) else each for each in given) if is_press(one)]

    def _answers(self, path: RoutePath, message: bytes) -> list[bytes]:
        asked = path.renewed() if path.keeps_state else path
        given = run_chain(asked.links, message, 0, self._faults)
        return [each.message if isinstance(each, Later) else each for each in given]

    def _reach(self, path: RoutePath, messages: Iterable[bytes]) -> Reach:
        notes, others = set[int](), set[int]()
        system = False
        for message in messages:
            if 0x80 <= message[0] < 0x90:
                continue  # a release alone is not heard
            for each in self._answers(path, message):
                if each[0] >= SYSEX:
                    system = True
                elif is_press(each):
                    notes.add(each[0] & 0x0F)
                else:
                    others.add(each[0] & 0x0F)
        return Reach(frozenset(notes), frozenset(others), system)
