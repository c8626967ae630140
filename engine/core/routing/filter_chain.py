"""The links of a chain of filters, and what one of them makes of a message: a filter that fails is bypassed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Protocol

from engine.midi.kinds import SYSEX, is_whole
from filters.registry import Later, Step

#: what chains made of messages that is remembered, some 250 bytes each
_REMEMBERED: Final = 1 << 14


@dataclass(frozen=True, eq=False, slots=True)
class FilterLink:
    """One filter of a chain; it equals no other."""

    name: str
    step: Step
    keeps_state: bool
    keeps_time: bool = False  # it counts a clock, and a panic does not make it begin again
    passes_later: bool = False  # what it holds back now


class Faults(Protocol):
    """What hears of filters that raise or give invalid answers."""

    def add(self, name: str, what: str, raised: Exception | None = None) -> None:
        """This filter failed, in words; `raised`: with its traceback."""


class FilterFaults:
    """Filters that raised or gave invalid answers: counted by filter, with the first fault of each in words."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.first: dict[str, str] = {}
        self.raised: dict[str, Exception] = {}  # the first, with its traceback, until somebody takes it

    def add(self, name: str, what: str, raised: Exception | None = None) -> None:
        """See Faults."""
        self.counts[name] = self.counts.get(name, 0) + 1
        if name not in self.first:
            self.first[name] = what
            if raised is not None:
                self.raised[name] = raised


class RaisedFaults:
    """Raises faults again: for links within a link, which is then the one that fails."""

    def add(self, name: str, what: str, raised: Exception | None = None) -> None:
        """See Faults."""
        raise raised if raised is not None else ValueError(f"{name}: {what}")


def through(
    link: FilterLink, flowing: tuple[bytes | Later, ...], now: int, faults: Faults
) -> tuple[bytes | Later, ...]:
    """What one filter makes of what reaches it; it is given delayed messages with the time at which they are due."""
    if len(flowing) == 1 and isinstance(flowing[0], bytes):  # mostly
        return _answers(link, flowing[0], now, faults)
    answered: list[bytes | Later] = []
    for item in flowing:
        if isinstance(item, Later):
            given = _answers(link, item.message, item.at, faults)
            answered.extend(one if isinstance(one, Later) else Later(item.at, one) for one in given)
        else:
            answered.extend(_answers(link, item, now, faults))
    return tuple(answered)


def run_chain(links: Iterable[FilterLink], message: bytes, now: int, faults: Faults) -> tuple[bytes | Later, ...]:
    """What these filters make of a message. A filter that fails is bypassed, and counted in `faults`."""
    flowing: tuple[bytes | Later, ...] = (message,)
    for link in links:
        flowing = through(link, flowing, now, faults)
        if not flowing:
            break
    return flowing


class ChainMemory:
    """What chains without state have made of messages, in whatever scenes; the newest replaces the oldest.

    A scene change asks what becomes of the place of each pedal, wheel and fader, and most scenes share their chains.
    """

    def __init__(self, most: int = _REMEMBERED) -> None:
        self._most = most
        self._made: dict[tuple[tuple[FilterLink, ...], bytes], tuple[bytes, ...]] = {}

    def run(self, links: tuple[FilterLink, ...], message: bytes, faults: Faults) -> tuple[bytes, ...]:
        """As `run_chain`, for filters without state."""
        made = self._made.get((links, message))
        if made is None:
            made = tuple(each for each in run_chain(links, message, 0, faults) if isinstance(each, bytes))
            if len(self._made) >= self._most:
                del self._made[next(iter(self._made))]
            self._made[links, message] = made
        return made


def _answers(link: FilterLink, message: bytes, now: int, faults: Faults) -> tuple[bytes | Later, ...]:
    step: Any = link.step  # a plug-in may answer with a list, compiled as well
    try:
        given: tuple[bytes | Later, ...] = tuple(step(message, now))
        right = True
        for one in given:
            right = right and (one is message or _is_answer(one, link))
    except Exception as fault:  # a plug-in may raise anything; the show goes on without it
        trace = fault.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        place = f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "?"
        faults.add(link.name, f"{type(fault).__name__}: {fault} ({place})", fault)
        return (message,)
    if not right:
        wrong = next(one for one in given if not _is_answer(one, link))
        faults.add(link.name, f"it answered {wrong!r}, which is no MIDI message")
        return (message,)
    return given


def _is_answer(one: object, link: FilterLink) -> bool:
    if isinstance(one, Later):  # a filter without state is not asked again, and its times would be remembered
        return link.keeps_state and isinstance(one.at, int) and isinstance(one.message, bytes) and is_whole(one.message)
    return isinstance(one, bytes) and is_whole(one)


def on_channels(name: str, chains: Mapping[int, tuple[FilterLink, ...]]) -> FilterLink:
    """One link made of chains by channel (0 to 15). System messages and other channels pass as they are."""
    faults = RaisedFaults()

    def by_channel(message: bytes, now: int) -> tuple[bytes | Later, ...]:
        flowing: tuple[bytes | Later, ...] = (message,)
        for link in chains.get(message[0] & 0x0F, ()) if message[0] < SYSEX else ():
            flowing = through(link, flowing, now, faults)
        return flowing

    return FilterLink(name, by_channel, any(link.keeps_state for links in chains.values() for link in links))
