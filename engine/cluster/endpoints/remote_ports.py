"""Inputs and outputs that are plugged in at other machines, to be used like ports of this one."""

import time
from collections import deque
from collections.abc import Callable
from typing import Final

from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import EventBatch, OrderSender, Stamped
from engine.cluster.pure.words import InputReport, OutputReport
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind, RemoteCable
from engine.ports.port import DriverFlow, PortGone

_OLDEST: Final = 2_000_000_000  # ns: if a message seems older, the clocks of the two machines do not agree that well
_SILENCE: Final = Order(OrderKind.STATE, (ReceiverState().snapshot(0),))


class RemoteStream:
    """An InputStream: what the other machine reads are bytes, what arrives here are whole messages."""

    open = False

    def __init__(self) -> None:
        self.lost = 0  # messages that were lost on the way
        self.mended = 0  # pieces that the other machine mended, and messages that found no room there

    @property
    def repairs(self) -> int:
        """See InputStream."""
        return self.lost + self.mended


class RemoteInput:
    """An InputPort, filled by a thread of the link.

    `to_here` turns a time of the other machine's clock into this one's (ns).
    """

    def __init__(self, name: str, to_here: Callable[[int], int]) -> None:
        self.name = name
        self.gone: str | None = None  # why, once it is known
        self.stream = RemoteStream()
        self._to_here = to_here
        self._arrived: deque[Stamped] = deque()
        self._take: Callable[[list[Stamped]], None] | None = None
        self._stream: int | None = None
        self._next = 0

    def hear(self, batch: EventBatch) -> None:  # a thread of the link
        """Take what the other machine has published. After a gap, which may hide a release, it counts as pulled."""
        if self.gone:
            return
        stream, first, events = batch
        if first is not None:
            if stream != self._stream:
                self._stream, self._next = stream, first
            if first > self._next:
                self.stream.lost += first - self._next
                self.gone = f"{self.name}: messages were lost on the way"
            heard = max(0, self._next - first)  # these have been taken already
            self._next = max(self._next, first + len(events))
            events = events[heard:]
        now = time.monotonic_ns()
        oldest = now - _OLDEST
        self._arrived.extend([(max(oldest, min(now, self._to_here(at))), message) for at, message in events])

    def take_report(self, report: InputReport) -> None:  # a thread of the link
        """What the other machine counts."""
        self.stream.mended = report.repairs + report.shed

    def hand_to(self, take: Callable[[list[Stamped]], None]) -> None:
        """See StampedInput."""
        self._take = take

    def poll(self) -> list[bytes]:
        """See InputPort."""
        gone, arrived = self.gone, self._arrived  # in this order: what comes before the end is never lost
        events = [arrived.popleft() for _ in range(len(arrived))]
        if gone and not events:
            raise PortGone(gone)
        if self._take is None:
            return [message for _, message in events]
        if events:
            self._take(events)
        return []

    def close(self) -> None:
        """See InputPort."""
        self.gone = self.gone or f"{self.name} is closed"


class RemoteOutput:
    """An OutputPort. Its RemoteCable has turned what is sent into orders already; `flush` publishes these."""

    flow: DriverFlow | None = None

    def __init__(self, name: str, link: Link, key: str) -> None:
        self.name = name
        self.gone: str | None = None  # why, once it is known
        self.incomplete = False  # the machine has missed orders
        self.longest: int | None = None
        self._link = link
        self._key = key
        self._cable: RemoteCable | None = None
        self._sender: OrderSender | None = None  # None while another engine plays

    def join(self, now: int, cable: RemoteCable) -> None:
        """Carry the orders of this cable from now on."""
        self._cable = cable
        if self._sender is not None:
            cable.lead(now)

    def play(self, now: int, sender: OrderSender, since: int | None = None, exact: bool = False) -> None:
        """It is ours to play, and shall sound as in this engine, without a break.

        `since`: when the other engine stopped playing it (ns); `exact`: whether it is known which messages that
        engine had sent by then.
        """
        self._sender = sender
        if self._cable is not None and exact and since is not None:
            self._cable.go_on_from(now, since)
        elif self._cable is not None:
            self._cable.lead(now, since)

    def follow(self) -> None:
        """Another engine plays it from now on."""
        self._sender = None
        if self._cable is not None:
            self._cable.follow()

    def flush(self, now: int) -> None:
        """Publish the orders since the last time; and the whole state if the machine has missed some.

        After a fault of our own it counts as pulled, so that the whole state is sent when it is opened again.
        """
        try:
            if self.incomplete and self._cable is not None:
                self.incomplete = False
                self._cable.restore(now)
            self._hand_on()
        except Exception:
            self.gone = self.gone or f"{self.name}: its orders could not be sent"
            raise

    def _hand_on(self) -> None:
        cable, sender = self._cable, self._sender
        if cable is None or sender is None or self.gone:
            return
        if orders := cable.take_orders():
            self._publish(sender, orders)

    def take_report(self, report: OutputReport) -> None:  # a thread of the link
        """What the other machine counts."""
        if self._cable is not None:
            self._cable.counts.shed, self._cable.counts.replaced = report.shed, report.replaced
        self.longest = report.longest

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self.check()

    def check(self) -> None:
        """See OutputPort."""
        if self.gone:
            raise PortGone(self.gone)

    def close(self) -> None:
        """See OutputPort. If it is still ours, what sounds there ends."""
        self._hand_on()
        if self._sender is not None and self._cable is not None and not self.gone:
            self._publish(self._sender, [_SILENCE])
        self.follow()
        self.gone = self.gone or f"{self.name} is closed"

    def _publish(self, sender: OrderSender, orders: list[Order]) -> None:
        for payload, bulk in sender.packs(orders):
            self._link.publish(self._key, payload, bulk)
