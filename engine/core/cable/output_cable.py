"""What the engine needs of an output's cable, whether it is plugged in here or into another machine.

`scheduler.Cable` and `remote_cable.RemoteCable` are the two implementations.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

from engine.core.cable.speed import CableSpeed
from engine.midi.kinds import PROGRAM
from engine.midi.setup_words import is_value

if TYPE_CHECKING:
    from engine.core.cable.remote_cable import RemoteCable

Delivery = tuple[int, bytes, int]  # output, message, time its first byte is on the cable (ns)
Unit = tuple[bytes, ...]  # messages that stay together


class BurstUnit(NamedTuple):
    """One instrument's part of a burst: its channel (0 to 15), its messages, and its settle time (ns).

    A SysEx is for all channels, and so is its settle time. `lasting`: a later burst does not replace it; `always`: it
    is sent even if its channel is on this sound already; `chooses`: it is a sound that is chosen by messages of its
    own; `sound`: the messages of all steps, if that sound takes several; `player`: in whose scene it is, "" for the
    rest of the rig.
    """

    channel: int
    unit: Unit
    settle: int
    lasting: bool = False
    always: bool = False
    chooses: bool = False
    sound: Unit = ()
    player: str = ""

    @property
    def ends(self) -> Unit:
        """What its channel is on afterwards, if it is a sound that is chosen by messages of its own."""
        return self.sound if self.sound[-len(self.unit) :] == self.unit else self.unit

    @property
    def selects(self) -> bool:
        """Whether it puts its channel on a sound."""
        return self.chooses or self.unit[-1][0] & 0xF0 == PROGRAM

    @property
    def values(self) -> bool:
        """Whether it sets values that stay as they are, rather than cause an event."""
        return all(map(is_value, self.unit))

    def stays_for(self, player: str | None) -> bool:
        """Whether a later burst of this player (None: of any) does not replace it, but for another sound of its
        channel."""
        return self.lasting or player not in (None, self.player)


def again(steps: Sequence[BurstUnit]) -> tuple[BurstUnit, ...]:
    """These steps, to be sent whatever their channels are on."""
    return tuple(step._replace(always=True) for step in steps)


def owned(steps: tuple[BurstUnit, ...], player: str) -> tuple[BurstUnit, ...]:
    """These steps as those of a player's scene."""
    return tuple(step._replace(player=player) for step in steps) if player else steps


@dataclass(slots=True)
class CableCounts:
    """What did not reach a cable: messages that found no room, and values that gave way to newer ones."""

    shed: int = 0
    replaced: int = 0


class OutputCable(Protocol):
    """One output's cable. Every call takes the time in nanoseconds and appends to `out` what leaves now."""

    @property
    def output(self) -> int:
        """The output's index."""

    @property
    def speed(self) -> CableSpeed | None:
        """How it is paced; None if it is not."""

    @property
    def due(self) -> int | None:
        """When `flush` has something to do next (ns); None if nothing waits."""

    @property
    def straight(self) -> bool:
        """Whether `put` does no more than to append: nothing waits, is held or is paced."""

    @property
    def full(self) -> bool:
        """Whether so much waits that no note may begin: there would be no room for its release."""

    @property
    def counts(self) -> CableCounts:
        """What was shed and replaced so far."""

    @property
    def carried_at(self) -> int:
        """When the last byte of all that was handed over has left (ns)."""

    @property
    def remote(self) -> "RemoteCable | None":
        """The cable itself if it is plugged into another machine."""

    @property
    def sounds(self) -> Mapping[int, Unit]:
        """By channel, the bank and program that it will be on once all that waits has been sent."""

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """Send routed messages; those of one unit stay together. Banks and programs go through `select`."""

    def select(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """Send routed messages likewise, some of which select a bank or a program."""

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery], player: str = "") -> Sequence[BurstUnit]:
        """Send a scene's steps for this output in place of those of this player's earlier burst that have not begun.

        Those whose channel is on their sound already are left out; the others are the answer.
        """

    def is_on(self, step: BurstUnit) -> bool:
        """Whether a burst would leave this step out."""

    def forget_sounds(self) -> None:
        """What is there may have forgotten its sounds, or has others: none counts as sent."""

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """Send these before any burst, and forget what waits that would undo them: presses, older values, dumps."""

    def flush(self, now: int, out: list[Delivery]) -> None:
        """Hand over all that may go at this time."""

    def takes_stray(self, release: bytes) -> bool:
        """Whether a full cable has room for a release whose press is not known: it takes the first of each key."""

    def change_speed(self, speed: CableSpeed | None) -> None:
        """Pace the cable otherwise from now on; what waits keeps waiting for its turn."""

    def holds(self, message: bytes) -> bool:
        """Whether this very SysEx (the object, not one like it) still waits here."""

    @property
    def wait(self) -> int:
        """How long (ns), about, a paced cable takes for the notes and values that wait; else 0."""

    def carried(self, now: int) -> int:
        """For how long (ns) a paced cable has been carrying anything, from the start until now."""
