"""The cable of an output that is plugged into another machine: it turns calls into orders for that machine.

Nothing waits here: the other machine has a `scheduler.Cable`, and paces and queues as if the show were there.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from enum import IntEnum
from typing import Final, NamedTuple

from engine.core.cable.believed_state import BelievedState
from engine.core.cable.channel_sounds import ChannelSounds
from engine.core.cable.kept_unit import KeptUnit
from engine.core.cable.output_cable import BurstUnit, CableCounts, Delivery, Unit
from engine.core.cable.speed import CableSpeed
from engine.rig.models.rig import Rig

#: for how long (ns) orders are remembered while another engine plays; a hand-over takes less
_RECENT: Final = 1_000_000_000


class OrderKind(IntEnum):
    """The kinds of order."""

    UNIT = 0  # these messages, together
    BURST = 1  # these steps, in place of those of an earlier burst
    PANIC = 2  # these messages before anything that waits
    STATE = 3  # bring what sounds to the state in these snapshots (see `BelievedState`)
    GIVE = 4  # the engine of this name may claim the outputs
    KEPT = 5  # these messages, together, in their place before later notes (see `KeptUnit`)


class Order(NamedTuple):
    """One thing that the machine with the cable is to do: `steps` of a player's burst, else messages, snapshots or a
    name."""

    do: OrderKind
    messages: tuple[bytes, ...] = ()
    steps: tuple[BurstUnit, ...] = ()
    player: str = ""


def remote_outputs(rig: Rig) -> frozenset[str]:
    """The outputs of a rig whose cables are plugged into other machines."""
    return frozenset(name for name, output in rig.outputs.items() if rig.is_remote(output))


def _note(state: BelievedState, at: int, order: Order) -> None:
    for message in (*order.messages, *(message for step in order.steps for message in step.unit)):
        state.note(at, message)


class RemoteCable:
    """An OutputCable whose calls leave orders to be taken away, while it is `live`. Loop only.

    `believed` is always kept up to date: an engine that follows another must know what sounds when it takes over.
    """

    due: None = None
    full = False

    def __init__(self, output: int, speed: CableSpeed | None) -> None:
        self.output = output
        self.straight = False
        self.speed = speed
        self.counts = CableCounts()  # as the other machine reports them
        self.live = False
        self.believed = BelievedState()
        self.carried_at = 0
        self._handed = 0
        self._orders: list[Order] = []
        self._recent: deque[tuple[int, Order]] = deque()  # what was not ordered, and when (ns)
        self._before = BelievedState()  # what would sound without these
        self._shown: dict[object, bytes] = {}  # what each light and display was told since this engine plays

    @property
    def remote(self) -> "RemoteCable":
        """See OutputCable."""
        return self

    @property
    def sounds(self) -> Mapping[int, Unit]:
        """See OutputCable."""
        return self.believed.all.chosen.sounds

    def is_on(self, step: BurstUnit) -> bool:
        """See OutputCable."""
        return not step.always and self.believed.all.chosen.is_on(step)

    def forget_sounds(self) -> None:
        """See OutputCable."""
        self.believed.all.chosen = ChannelSounds()

    @property
    def wait(self) -> int:
        """See OutputCable; what waits there is not known here."""
        return 0

    # What goes in

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        self._let_out(now, unit, out)
        self._order(now, Order(OrderKind.KEPT if isinstance(unit, KeptUnit) else OrderKind.UNIT, unit))

    def tell(self, now: int, thing: object, message: bytes, out: list[Delivery]) -> None:
        """Order what `thing`, a light or display, is to show; only while `live`.

        It is no part of the state: whoever leads next tells it everything.
        """
        self._hand_out(now, message, out)
        self._shown[thing] = message
        self._orders.append(Order(OrderKind.UNIT, (message,)))

    def select(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See OutputCable."""
        self.put(now, unit, out)

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery], player: str = "") -> Sequence[BurstUnit]:
        """See OutputCable.

        The other machine's cable has the last word on what is left out, for it knows which steps have begun there. So
        it is given all of them, and the answer is what it leaves out if every earlier step has begun.
        """
        needed = [step for step in steps if not self.is_on(step)]
        for step in needed:
            self._let_out(now, step.unit, out)
            self.believed.all.chosen.note_step(step)
        self._order(now, Order(OrderKind.BURST, steps=tuple(steps), player=player))
        return needed

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """See OutputCable."""
        self._let_out(now, messages, out)
        self._order(now, Order(OrderKind.PANIC, tuple(messages)))

    def flush(self, now: int, out: list[Delivery]) -> None:
        """See OutputCable: nothing ever waits here."""

    def change_speed(self, speed: CableSpeed | None) -> None:
        """See OutputCable."""
        self.speed = speed

    def holds(self, message: bytes) -> bool:
        """See OutputCable: nothing ever waits here."""
        return False

    def takes_stray(self, release: bytes) -> bool:
        """See OutputCable: the other machine's cable decides."""
        return True

    def carried(self, now: int) -> int:
        """See OutputCable."""
        return self._handed - max(0, self.carried_at - now)

    def _let_out(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        for message in messages:
            self._hand_out(now, message, out)
            self.believed.note(now, message)

    def _hand_out(self, now: int, message: bytes, out: list[Delivery]) -> None:
        out.append((self.output, message, now))
        if self.speed is not None:  # for how long the other machine's cable is busy with it
            cost = self.speed.cost(message)
            self.carried_at = max(self.carried_at, now) + cost
            self._handed += cost

    def _order(self, now: int, order: Order) -> None:
        if self.live:
            self._orders.append(order)
            return
        self._recent.append((now, order))
        while self._recent[0][0] < now - _RECENT:
            _note(self._before, *self._recent.popleft())

    # Which engine plays

    def lead(self, now: int, young_since: int | None = None) -> None:
        """This engine plays from now on; see `state`."""
        self._go_live()
        self.state(now, young_since)

    def go_on_from(self, now: int, since: int) -> None:
        """This engine plays as from `since` (ns): what it was given since then is ordered now, in its order."""
        state = self._before.copy()
        later = []
        for at, order in self._recent:
            if at < since:
                _note(state, at, order)
            else:
                later.append(order)
        self._go_live()
        self._orders += [Order(OrderKind.STATE, state.snapshots(now)), *later]

    def _go_live(self) -> None:
        self.live = True
        self._orders.clear()
        self._recent.clear()

    def follow(self) -> None:
        """Another engine plays from now on."""
        if self.live:
            self._before = self.believed.copy()
        self.live = False
        self._orders.clear()
        self._shown.clear()

    def doubt(self) -> None:
        """What is believed becomes a guess: the engine that plays may have sent more than this one has heard."""
        self.believed.doubt()
        self._recent.clear()
        self._before = self.believed.copy()

    def restore(self, now: int) -> None:
        """The other machine has missed orders: order the state, and what lights and displays show."""
        self.state(now)
        self._orders += (Order(OrderKind.UNIT, (message,)) for message in self._shown.values())

    def state(self, now: int, young_since: int | None = None) -> None:
        """Order the state that would be there now if everything had been sent from here.

        Only young notes are pressed: those of the last moment, and of `young_since` (ns) and later.
        """
        self._orders.append(Order(OrderKind.STATE, self.believed.snapshots(now, young_since)))

    def take_orders(self) -> list[Order]:
        """The orders since the last call."""
        orders, self._orders = self._orders, []
        return orders
