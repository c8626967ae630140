"""Messages that filters, such as an echo, have scheduled for later.

Their notes are in the ledger like those of a player, with a player number of their own for each input. So a key that an
echo and a player both hold sounds until both have released it.
"""

from collections.abc import Iterable
from heapq import heappop, heappush
from itertools import count
from typing import NamedTuple

from engine.core.cable.output_cable import Unit
from engine.core.cable.replaceable_values import VOID_WITH, Slot, replaceable, resets
from engine.core.routing.channel_places import AT_HOME, Places, homeward
from engine.core.routing.player_numbers import player
from engine.core.routing.routed_message import TimedMessage
from engine.midi.rest_values import rest_of

_Value = tuple[int, int, Slot]  # player, output, what it is a value of


class DueMessage(NamedTuple):
    """A message that is due: its player (see `player`), and its outputs; a controller value has only one."""

    player: int
    source: int
    message: bytes
    outputs: tuple[int, ...]
    lasting: bool


class DelayedMessages:
    """The messages that wait, by time. Loop only; times in nanoseconds."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, DueMessage]] = []
        self._number = count()  # of two for the same time the first goes first
        self._values: dict[_Value, int] = {}  # -> number of the one that counts
        self.players: set[int] = set()  # all that have ever scheduled anything
        self.due: int | None = None  # when `take` next has something; the engine looks at it for each message

    def add(self, source: int, timed: TimedMessage) -> None:
        """Keep this until its time; a value replaces a waiting one of the same controller."""
        name = player(source, timed.lasting)
        self.players.add(name)
        slot = replaceable(timed.message)
        if slot is None:
            heappush(self._heap, (timed.at, next(self._number), DueMessage(name, source, *timed[1:])))
        else:
            for output in timed.outputs:
                self._outdate_value(name, output, slot)
                number = self._values[name, output, slot] = next(self._number)
                heappush(
                    self._heap, (timed.at, number, DueMessage(name, source, timed.message, (output,), timed.lasting))
                )
        self._look_ahead()

    def outdate(self, source: int, units: Iterable[tuple[int, Unit]], places: Places = AT_HOME) -> None:
        """Values of this input that are sent now replace waiting ones of the same controllers.

        Reset All Controllers replaces those of all controllers that it resets (RP-015). `places`: see `placed`; what
        waits has not been placed yet.
        """
        if not self._values:
            return
        players = player(source, False), player(source, True)
        for output, sent in units:
            unit = homeward(output, sent, places)
            for slot in filter(None, map(replaceable, unit)):
                for name in players:
                    self._outdate_value(name, output, slot)
            for reset in filter(resets, unit):
                for key in [key for key in self._values if key[0] in players and key[1] == output]:
                    if _is_reset(key[2], reset):
                        del self._values[key]

    def _outdate_value(self, name: int, output: int, slot: Slot) -> None:
        for outdated in (slot, VOID_WITH.get(slot, slot)):
            self._values.pop((name, output, outdated), None)

    def take(self, now: int) -> list[DueMessage]:
        """What is due by now, in order."""
        taken: list[DueMessage] = []
        while self._heap and self._heap[0][0] <= now:
            _, number, due = heappop(self._heap)
            slot = replaceable(due.message)
            if slot is not None:
                name = (due.player, due.outputs[0], slot)
                if self._values.get(name) != number:
                    continue
                del self._values[name]
            taken.append(due)
        self._look_ahead()
        return taken

    def forget(self, players: set[int]) -> None:
        """Drop everything that these players have scheduled."""
        self._heap = sorted(entry for entry in self._heap if entry[2].player not in players)
        self._values = {key: number for key, number in self._values.items() if key[0] not in players}
        self._look_ahead()

    def _look_ahead(self) -> None:
        self.due = self._heap[0][0] if self._heap else None


def _is_reset(slot: Slot, reset: bytes) -> bool:
    """Whether a Reset All Controllers resets this: it is on the same channel, and has a resting value."""
    return (slot[0] ^ reset[0]) & 0x0F == 0 and rest_of(bytes((*slot, 0, 0))[:3]) is not None
