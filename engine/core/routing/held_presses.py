"""Presses of the keys of inputs: where each went, for whom it sounds, and by which routes."""

from collections.abc import Collection
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from engine.core.routing.sent_values import Hand
from engine.midi.kinds import is_press

if TYPE_CHECKING:
    from engine.core.routing.open_routes import OpenRoutes

#: entries of one key that are kept in order; beyond that those with the same targets are merged, so that no number of
#: presses without releases fills the memory
MOST_ENTRIES: Final = 16


class Target(NamedTuple):
    """Where a press went: output index, channel 0 to 15, key."""

    output: int
    channel: int
    key: int


#: who plays, and by which routes (None: those in force)
Player = tuple[Hand, "OpenRoutes | None"]


class HeldPress:
    """Presses of one key of one input that went to the same targets."""

    __slots__ = ("count", "hand", "routes", "targets")

    def __init__(
        self,
        targets: tuple[Target, ...],
        routes: "OpenRoutes | None" = None,
        hand: tuple[int, int] | None = None,
    ) -> None:
        """`hand`: the input and its channel, if a filter holds the note for them."""
        self.targets, self.hand = targets, hand
        self.count = 1
        self.routes = routes  # by which it went, if these are no longer in force

    def is_among(self, outputs: Collection[int]) -> bool:
        """Whether it sounds at these outputs, and at no others."""
        return bool(self.targets) and all(target.output in outputs for target in self.targets)


def merge(presses: list[HeldPress]) -> None:
    """Presses that went to the same targets become one entry, in the place of the oldest."""
    entries: dict[tuple[Target, ...], HeldPress] = {}
    for press in presses:
        if entries.setdefault(press.targets, press) is not press:
            entries[press.targets].count += press.count
    presses[:] = entries.values()


def targets_of(output: int, messages: tuple[bytes, ...]) -> tuple[Target, ...]:
    """The keys that these note-ons press on an output."""
    targets: tuple[Target, ...] = ()
    for message in messages:
        if is_press(message):
            targets += (_target(output, message[0] & 0x0F, message[1]),)
    return targets


@lru_cache(maxsize=1 << 14)  # a named tuple takes three times as long to make
def _target(output: int, channel: int, key: int) -> Target:
    return Target(output, channel, key)
