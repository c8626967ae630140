"""Pedals that several players of one channel hold: such a pedal is down until all have released it.

The value that the channel gets is the highest of theirs, so that half pedalling works, too.
"""

from collections.abc import Container, Iterable, Mapping

from engine.core.routing.sent_values import Channel, Hand, Moved

#: where one player has a pedal: the message as it came in, and the value (0 to 127) as it is sent (a named tuple would
#: take several times as long to make, for each message of a pedal)
PedalHeld = tuple[bytes, int]


class MergedPedals:
    """Loop only. Players are inputs, by index, each channel of one by itself; of each pedal there are only those hands
    that have it off 0 (`held`).
    """

    def __init__(self) -> None:
        self.held: dict[Moved, dict[Hand, PedalHeld]] = {}

    def turn(self, pedal: Moved, hand: Hand, where: PedalHeld) -> int | None:
        """A player moves a pedal; the value that is to be sent, None if the channel has it already."""
        held, value = self.held.get(pedal), where[1]
        if held is None or (len(held) == 1 and hand in held):  # nobody else
            if value:
                self.held[pedal] = {hand: where}
            else:
                self.held.pop(pedal, None)
            return value
        before = _highest(held)
        if value:
            held[hand] = where
        else:
            held.pop(hand, None)
        highest = _highest(held)
        return None if highest == before else highest

    def all(self) -> list[Moved]:
        """The pedals that anybody has off 0."""
        return [*self.held]

    def held_by(self, sources: Container[int], channels: Container[Channel]) -> list[tuple[Moved, Hand, bytes]]:
        """The pedals that these inputs have off 0 on these channels: with the hand, and how it has moved each."""
        return [
            (pedal, hand, came)
            for pedal, hands in self.held.items()
            if (pedal[0], pedal[1][0] & 0x0F) in channels
            for hand, (came, _) in hands.items()
            if hand[0] in sources
        ]

    def of(self, sources: Container[int]) -> set[Moved]:
        """The pedals that any of these inputs has off 0."""
        return {pedal for pedal, hands in self.held.items() for source, _ in hands if source in sources}

    def hands(self, pedal: Moved) -> dict[Hand, bytes]:
        """Who has this pedal off 0, and the message with which each has moved it."""
        return {hand: came for hand, (came, _) in self.held.get(pedal, {}).items()}

    def value(self, pedal: Moved) -> int:
        """The value that the channel has: the highest of its players'."""
        return _highest(self.held.get(pedal, {}))

    def leave(self, pedal: Moved, hands: Iterable[Hand]) -> int | None:
        """These no longer count; the value that is to be sent, None if it stays as it is."""
        held = self.held.get(pedal, {})
        before = _highest(held)
        for hand in hands:
            held.pop(hand, None)
        if not held:
            self.held.pop(pedal, None)
        highest = _highest(held)
        return None if highest == before else highest

    def forget(self, pedal: Moved) -> None:
        """Nobody's word counts any more: the pedal was set by something other than a player."""
        self.held.pop(pedal, None)


def _highest(held: Mapping[Hand, PedalHeld]) -> int:
    return max((value for _, value in held.values()), default=0)
