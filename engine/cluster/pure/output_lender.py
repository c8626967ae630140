"""The outputs that a machine lends: which engine may play them, what sounds there, and silence once none plays them.

One engine holds them at a time. Each grant has an epoch, a number that only grows. Orders of any other epoch are
ignored, so two engines that both think they are in charge never play one output together.
"""

from collections.abc import Container, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from engine.core.cable.believed_state import to_be_reached
from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.kept_unit import KeptUnit
from engine.core.cable.output_cable import Delivery, Unit
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import CableSpeed

#: how long outputs wait for another engine before they fall silent (ns)
GRACE: Final = 150_000_000


class Grant(NamedTuple):
    """The engine that asked may play. Its orders carry this epoch, and are numbered from 0 for each output."""

    epoch: int


class ClaimRefused(NamedTuple):
    """Another engine plays."""

    holder: str


class _Lent:
    """One output: its cable, and what sounds there."""

    def __init__(self, index: int, speed: CableSpeed | None) -> None:
        self.cable = Cable(index, speed)
        self.receiver = ReceiverState()
        self.there = True  # False while its port is not open

    def heading_for(self) -> ReceiverState:
        """What will sound once everything that waits has been sent."""
        found = self.receiver.copy()
        for message in self.cable.pending():
            found.note(0, message)
        return found


class OutputLender:
    """Outputs are known by name, and in deliveries by their index in `outputs`. Times in ns of one monotonic clock."""

    def __init__(self, speeds: Mapping[str, CableSpeed | None], started: int) -> None:
        """`started`: a number that is greater at each start of this machine, such as the time of day in ns."""
        self.outputs: list[str] = []
        self.epoch = started
        self.holder: str | None = None
        self.fenced = 0  # orders of an engine that no longer held the outputs
        self.lost = 0  # orders that never arrived
        self.incomplete: set[str] = set()  # outputs that missed some; cleared when the holder has been told
        self.given_to: str | None = None  # the engine that may claim although the holder is alive
        self._silence_at: int | None = None
        self._lent: dict[str, _Lent] = {}
        self._next: dict[str, int] = {}  # by output, the number of the next order
        for name, speed in speeds.items():
            self.lend(name, speed)

    # Who may play

    def claim(self, who: str, alive: Container[str]) -> Grant | ClaimRefused:
        """An engine asks for the outputs. `alive`: the engines whose programs run, as seen from here."""
        holder = self.holder
        if holder not in (None, who) and holder in alive and self.given_to != who:
            return ClaimRefused(holder)
        self._new_epoch(who)
        return Grant(self.epoch)

    def holder_gone(self, now: int, another: bool) -> None:
        """The holder's token is gone. `another`: whether another engine is alive and may take over."""
        if self.holder is not None and self._silence_at is None:
            self._silence_at = now + GRACE * another

    def holder_back(self) -> None:
        """The holder's token is back within the grace."""
        self._silence_at = None

    def _new_epoch(self, holder: str | None) -> None:
        self.epoch += 1
        self.holder, self.given_to, self._silence_at = holder, None, None
        self.incomplete.clear()
        self._next.clear()

    # What is played

    def take(self, now: int, epoch: int, output: str, first: int | None, orders: Sequence[Order]) -> list[Delivery]:
        """Carry out orders for one output, unless their epoch is over. `first`: the number of the first, or None."""
        lent = self._lent.get(output)
        out: list[Delivery] = []
        if epoch != self.epoch or self.holder is None:
            self.fenced += len(orders)
            return out
        for order in orders:
            if order.do == OrderKind.GIVE:
                self.given_to = order.messages[0].decode()
        if first is not None:
            self._count(output, first, len(orders))
        if lent is not None and lent.there:
            for order in orders:
                self._carry_out(now, lent, order, out)
        return self._let_out(now, out)

    def _count(self, output: str, first: int, many: int) -> None:
        expected = self._next.get(output, 0)
        if first != expected:
            self.lost += max(0, first - expected)
            self.incomplete.add(output)
        self._next[output] = first + many

    def _carry_out(self, now: int, lent: _Lent, order: Order, out: list[Delivery]) -> None:
        cable = lent.cable
        if order.do == OrderKind.UNIT:
            _route(now, cable, order.messages, out)
        elif order.do == OrderKind.KEPT:
            cable.put(now, KeptUnit(order.messages), out)
        elif order.do == OrderKind.BURST:
            cable.burst(now, order.steps, out, order.player)
        elif order.do == OrderKind.PANIC:
            cable.panic(now, order.messages, out)
        elif order.do == OrderKind.STATE:
            known = lent.heading_for()
            for message in known.to(to_be_reached(now, order.messages, known), now):
                _route(now, cable, (message,), out)

    def tick(self, now: int) -> list[Delivery]:
        """What is due by now, silence included."""
        out: list[Delivery] = []
        if self._silence_at is not None and self._silence_at <= now:
            self._end(now, out)
        for lent in self._lent.values():
            cable = lent.cable
            if cable.due is not None and cable.due <= now:
                cable.flush(now, out)
        return self._let_out(now, out)

    @property
    def due(self) -> int | None:
        """When `tick` next has something to do, or None."""
        dues = [lent.cable.due for lent in self._lent.values() if lent.cable.due is not None]
        return min(dues if self._silence_at is None else [*dues, self._silence_at], default=None)

    def silence(self, now: int) -> list[Delivery]:
        """No engine holds the outputs any more: release what sounds, and set what was moved to rest."""
        out: list[Delivery] = []
        self._end(now, out)
        return self._let_out(now, out)

    def _end(self, now: int, out: list[Delivery]) -> None:
        self._new_epoch(None)
        for lent in self._lent.values():
            self._bring_to_rest(now, lent, out)

    def _bring_to_rest(self, now: int, lent: _Lent, out: list[Delivery]) -> None:
        lent.cable.burst(now, (), out, None)  # a burst that waits is dropped
        lent.cable.panic(now, lent.heading_for().releases(), out)

    def _let_out(self, now: int, out: list[Delivery]) -> list[Delivery]:
        for index, message, _ in out:
            self._lent[self.outputs[index]].receiver.note(now, message)
        return out

    # The outputs

    def lend(self, name: str, speed: CableSpeed | None) -> None:
        """Lend this output from now on, or pace it differently from now on."""
        lent = self._lent.get(name)
        if lent is not None:
            lent.cable.change_speed(speed)
            return
        if name not in self.outputs:
            self.outputs.append(name)
        self._lent[name] = _Lent(self.outputs.index(name), speed)

    def pulled(self, name: str) -> None:
        """Its cable is out: orders for it are ignored, and what waited is dropped."""
        lent = self._lent[name]
        before, after = lent.receiver, _Lent(lent.cable.output, lent.cable.speed)
        after.receiver, after.there = before, False
        self._lent[name] = after

    def plugged(self, now: int, name: str, speed: CableSpeed | None) -> list[Delivery]:
        """Its cable is back: release what sounded when it was pulled. The engine that plays it sends the rest."""
        lent, out = self._lent[name], list[Delivery]()
        lent.cable.change_speed(speed)
        lent.there = True
        self._bring_to_rest(now, lent, out)
        return self._let_out(now, out)

    def withdraw(self, now: int, name: str) -> list[Delivery]:
        """This output is no longer lent: release what sounds there, at once."""
        out: list[Delivery] = []
        lent = self._lent.pop(name)
        lent.cable.change_speed(None)  # nothing may wait: the port is closed next
        self._bring_to_rest(now, lent, out)
        return out

    def cables(self) -> Iterator[tuple[str, Cable]]:
        """Each output's cable."""
        return ((name, lent.cable) for name, lent in self._lent.items())

    def held(self, name: str) -> int:
        """How many keys of an output are down."""
        return self._lent[name].receiver.held


def _route(now: int, cable: Cable, unit: Unit, out: list[Delivery]) -> None:
    (cable.select if any(map(selects_sound, unit)) else cable.put)(now, unit, out)
