"""Pedals that several players of one channel hold: such a pedal is down until all have released it.

The value that the channel gets is the highest of theirs, so that half pedalling works, too.

Mostly one player alone moves a pedal again and again. All that is noted of it then is the last turn.
"""

from collections.abc import Container, Iterable, Mapping
from functools import lru_cache
from typing import Final, NamedTuple

from engine.core.routing.sent_values import Channel, Hand, Moved
from engine.midi.controllers import HOLDING, ON_FROM, SOSTENUTO

#: where one player has a pedal: the message as it came in, and the value (0 to 127) as it is sent (a named tuple would
#: take several times as long to make, for each message of a pedal)
PedalHeld = tuple[bytes, int]
_NOBODY: Final[Mapping[Hand, PedalHeld]] = {}


class PedalTurn(NamedTuple):
    """A hand moves a pedal on a channel, to where it has `held` it then, and `sent` says so."""

    moved: Moved
    held: PedalHeld
    sent: bytes


class PedalWay:
    """Where one hand's pedal leads. There is one of each, as long as it is in use, so that it is found by itself.

    `alike`: whether the pedal is down on all these channels or on none, and there is just one of them on each;
    `number`: its controller, if it holds notes; `rings`: by channel, that it is the only such pedal which is down there
    (empty for sostenuto, for which that does not say all).
    """

    __slots__ = ("alike", "channels", "hand", "moved", "number", "rings")

    def __init__(self, hand: Hand, moved: tuple[Moved, ...], alike: bool) -> None:
        number = moved[0].what[1]
        self.hand, self.moved, self.alike = hand, moved, alike
        self.number = number if number in HOLDING else None
        self.channels = tuple([each.channel for each in moved]) if number in HOLDING else ()
        self.rings = dict.fromkeys(self.channels if number != SOSTENUTO else (), frozenset((number,)))


class PedalTurns:
    """All that a message of a pedal moves, if it is nothing else.

    `down`: whether the pedal is; `up`: whether it is at 0; of several that are not `alike`, the first one.
    """

    __slots__ = ("down", "turns", "up", "way")

    def __init__(self, hand: Hand, turns: tuple[PedalTurn, ...]) -> None:
        _, number, value = turns[0].sent
        self.turns, self.down, self.up = turns, value >= ON_FROM, value == 0
        moved = tuple([each.moved for each in turns])
        alike = [(sent[1], sent[2] >= ON_FROM, sent[2] == 0) == (number, self.down, self.up) for _, _, sent in turns]
        self.way = _way(hand, moved, all(alike) and len(set(moved)) == len(moved))


@lru_cache(maxsize=1 << 12)
def _way(hand: Hand, moved: tuple[Moved, ...], alike: bool) -> PedalWay:
    return PedalWay(hand, moved, alike)


class MergedPedals:
    """Loop only. Players are inputs, by index, each channel of one by itself; of each pedal there are only those hands
    that have it off 0.

    `alone`: the ways that nobody else's word has met since they were turned last, with that turn.
    """

    def __init__(self) -> None:
        self.alone: dict[PedalWay, PedalTurns] = {}
        self._alone_at: dict[Moved, PedalWay] = {}
        self._held: dict[Moved, dict[Hand, PedalHeld]] = {}  # as of the turn before the last one for what is `alone`

    def turn(self, pedal: Moved, hand: Hand, where: PedalHeld) -> int | None:
        """A player moves a pedal; the value that is to be sent, None if the channel has it already."""
        self.meet(pedal)
        held, value = self._held.get(pedal), where[1]
        if held is None or (len(held) == 1 and hand in held):  # nobody else
            self._hold(pedal, hand, where)
            return value
        before = _highest(held)
        if value:
            held[hand] = where
        else:
            held.pop(hand, None)
        highest = _highest(held)
        return None if highest == before else highest

    def settle_alone(self, turns: PedalTurns) -> None:
        """All of these were turned just now, and nothing else: if they are alike, and the hand has these pedals alone,
        it need not be looked for others the next time."""
        way, held = turns.way, self._held
        if way.alike and all(held.get(moved, _NOBODY).keys() <= {way.hand} for moved in way.moved):
            self.alone[way] = turns
            for moved in way.moved:
                self._alone_at[moved] = way

    def meet(self, pedal: Moved) -> None:
        """Something other than the way that has it alone has a word in this pedal."""
        way = self._alone_at.get(pedal)
        if way is not None:
            self._catch_up(self.alone.pop(way))
            for moved in way.moved:
                del self._alone_at[moved]

    def _catch_up(self, *last: PedalTurns) -> None:
        for each in last:
            for moved, where, _ in each.turns:
                self._hold(moved, each.way.hand, where)

    def _hold(self, pedal: Moved, hand: Hand, where: PedalHeld) -> None:
        """Nobody else has it off 0."""
        if where[1]:
            self._held[pedal] = {hand: where}
        else:
            self._held.pop(pedal, None)

    def _now(self, pedal: Moved) -> Mapping[Hand, PedalHeld]:
        way = self._alone_at.get(pedal)
        if way is not None:
            self._catch_up(self.alone[way])
        return self._held.get(pedal, _NOBODY)

    def _all_now(self) -> dict[Moved, dict[Hand, PedalHeld]]:
        self._catch_up(*self.alone.values())
        return self._held

    def all(self) -> list[Moved]:
        """The pedals that anybody has off 0."""
        return [*self._all_now()]

    def held_by(self, sources: Container[int], channels: Container[Channel]) -> list[tuple[Moved, Hand, bytes]]:
        """The pedals that these inputs have off 0 on these channels: with the hand, and how it has moved each."""
        return [
            (pedal, hand, came)
            for pedal, hands in self._all_now().items()
            if (pedal[0], pedal[1][0] & 0x0F) in channels
            for hand, (came, _) in hands.items()
            if hand[0] in sources
        ]

    def of(self, sources: Container[int]) -> set[Moved]:
        """The pedals that any of these inputs has off 0."""
        return {pedal for pedal, hands in self._all_now().items() for source, _ in hands if source in sources}

    def hands(self, pedal: Moved) -> dict[Hand, bytes]:
        """Who has this pedal off 0, and the message with which each has moved it."""
        return {hand: came for hand, (came, _) in self._now(pedal).items()}

    def value(self, pedal: Moved) -> int:
        """The value that the channel has: the highest of its players'."""
        return _highest(self._now(pedal))

    def leave(self, pedal: Moved, hands: Iterable[Hand]) -> int | None:
        """These no longer count; the value that is to be sent, None if it stays as it is."""
        self.meet(pedal)
        held = self._held.get(pedal, {})
        before = _highest(held)
        for hand in hands:
            held.pop(hand, None)
        if not held:
            self._held.pop(pedal, None)
        highest = _highest(held)
        return None if highest == before else highest

    def forget(self, pedal: Moved) -> None:
        """Nobody's word counts any more: the pedal was set by something other than a player."""
        self.meet(pedal)
        self._held.pop(pedal, None)


def _highest(held: Mapping[Hand, PedalHeld]) -> int:
    return max((value for _, value in held.values()), default=0)
