"""An output whose cable is plugged into another machine: nothing waits here, for that machine has the real wire.

What is sent goes out at once, as orders for that machine; it paces and queues as if the show were there.
"""

from collections import deque
from collections.abc import Sequence
from enum import IntEnum
from typing import Final, NamedTuple

from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.scheduler import BurstUnit, Cable, CableSpeed, Delivery, Unit
from engine.rig.models.rig import Rig

_RECENT: Final = 1_000_000_000  # ns of what was sent while another was heard; a hand-over takes less


class OrderKind(IntEnum):
    """What an order asks for."""

    UNIT = 0  # these messages, together
    BURST = 1  # these steps, in place of those of an earlier burst
    PANIC = 2  # these messages before anything that waits
    STATE = 3  # what sounds is to be what this snapshot says
    GIVE = 4  # the engine of this name may claim the outputs


class Order(NamedTuple):
    """One thing that the machine with the cable is to do: `steps` of a burst, else messages, a snapshot or a name."""

    do: OrderKind
    messages: tuple[bytes, ...] = ()
    steps: tuple[BurstUnit, ...] = ()


def far_outputs(rig: Rig) -> frozenset[str]:
    """The outputs of a rig whose cables are at other machines than this."""
    return frozenset(name for name, output in rig.outputs.items() if rig.far(output))


def _note(sounding: ReceiverState, at: int, order: Order) -> None:
    for message in (*order.messages, *(message for step in order.steps for message in step.unit)):
        sounding.note(at, message)


class RemoteCable(Cable):
    """As a Wire, but that each call also leaves its order to be taken away, while `live`. Loop only.

    `sounding` is kept always: an engine that follows another must know what sounds when it takes over.
    """

    def __init__(self, output: int, speed: CableSpeed | None) -> None:
        super().__init__(output, speed)
        self.straight = False
        self.live = False
        self.sounding = ReceiverState()
        self._orders: list[Order] = []
        self._recent: deque[tuple[int, Order]] = deque()  # what would have been ordered, and when (ns)
        self._before = ReceiverState()  # what would sound but for these

    def put(self, now: int, unit: Unit, out: list[Delivery]) -> None:
        """See Wire."""
        self._let_out(now, unit, out)
        self._order(now, Order(OrderKind.UNIT, unit))

    def burst(self, now: int, steps: Sequence[BurstUnit], out: list[Delivery]) -> None:
        """See Wire."""
        for step in steps:
            self._let_out(now, step.unit, out)
        self._order(now, Order(OrderKind.BURST, steps=tuple(steps)))

    def panic(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        """See Wire."""
        self._let_out(now, messages, out)
        self._order(now, Order(OrderKind.PANIC, tuple(messages)))

    def _order(self, now: int, order: Order) -> None:
        if self.live:
            self._orders.append(order)
            return
        self._recent.append((now, order))
        while self._recent[0][0] < now - _RECENT:
            _note(self._before, *self._recent.popleft())

    def lead(self, now: int, young_since: int | None = None) -> None:
        """From now on it is heard; see `state`."""
        self._go_live()
        self.state(now, young_since)

    def go_on_from(self, now: int, since: int) -> None:
        """From now on it is heard, from this moment (ns) on: what was sent since is ordered now, in its order."""
        state = self._before.copy()
        later = []
        for at, order in self._recent:
            if at < since:
                _note(state, at, order)
            else:
                later.append(order)
        self._go_live()
        self._orders += [Order(OrderKind.STATE, (state.snapshot(now),)), *later]

    def _go_live(self) -> None:
        self.live = True
        self._orders.clear()
        self._recent.clear()

    def follow(self) -> None:
        """From now on another is heard."""
        if self.live:
            self._before = self.sounding.copy()
        self.live = False
        self._orders.clear()

    def state(self, now: int, young_since: int | None = None) -> None:
        """Order what sounds there to be what would sound there by now, had all of it been sent from here.

        Only young notes are pressed: those of the last moment, and of `young_since` (ns) and later.
        """
        self._orders.append(Order(OrderKind.STATE, (self.sounding.snapshot(now, young_since),)))

    def flush(self, now: int, out: list[Delivery]) -> None:
        """See Wire: there is never anything to hand over later."""

    def change_speed(self, speed: CableSpeed | None) -> None:
        """See Wire."""
        self.speed = speed

    def take_orders(self) -> list[Order]:
        """The orders since the last call."""
        orders, self._orders = self._orders, []
        return orders

    def _let_out(self, now: int, messages: Sequence[bytes], out: list[Delivery]) -> None:
        for message in messages:
            out.append((self.output, message, now))
            self.sounding.note(now, message)
            if self.speed is not None:  # how long the far cable is busy with it, if nothing else is slower
                cost = self.speed.cost(message)
                self._free_at = max(self._free_at, now) + cost
                self._handed += cost
