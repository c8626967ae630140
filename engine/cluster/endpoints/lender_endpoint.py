"""Connects a machine's output lender to the network: takes orders and claims, and publishes the lease.

Orders arrive in threads of the link and are queued in order. A claim is answered in the link's thread, since the engine
that asks waits; what arrived before it is carried out first.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Final

from engine.cluster.endpoints.hearing import TOO_MUCH, Hearing
from engine.cluster.link.keys import NetworkKeys, machine_of, port_of
from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import OrderBatch, read_orders
from engine.cluster.pure.output_lender import OutputLender
from engine.cluster.pure.words import Claim, Lease, pack, pack_answer, read_word
from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import OrderKind
from engine.rig.models.network import Network

_PUBLISH_AGAIN: Final = (
    50_000_000  # ns between two leases published for an engine that no longer plays and does not know it
)
_PUBLISH_ANYWAY: Final = 1_000_000_000  # ns: an engine may have left one out
_AN_ENGINE: Final = "an engine"  # which one is not known before its words make sense
_NEVER_SEEN: Final = 5  # looks after which a holder whose token never appeared counts as gone


class LenderEndpoint:
    """One machine's output lender on the network."""

    def __init__(
        self,
        lender: OutputLender,
        network: Network,
        link: Link,
        keys: NetworkKeys,
        wake: Callable[[], None],
        clock: Callable[[], int],
    ) -> None:
        """`wake` is called in any thread when `turn` has something to do; `clock` is monotonic (ns)."""
        self.alive: set[str] = set()  # engines whose programs run
        self.hearing = Hearing(clock)
        self._lender = lender
        self._engines = network.engines
        self._me = network.machine
        self._link = link
        self._keys = keys
        self._wake = wake
        self._clock = clock
        self._lock = threading.Lock()  # around the lender
        self._heard: deque[Callable[[], list[Delivery]]] = deque()
        self._ready: list[Delivery] = []
        self._published: tuple[int, str | None, str | None, tuple[str, ...]] | None = None
        self._published_at = 0  # ns
        self._fenced = 0
        self._unseen = 0

    def begin(self) -> None:  # blocks; call it in a thread
        """Listen for engines, orders and claims."""
        for engine in self._engines:
            self._link.watch(self._keys.alive(engine), self._sees)
        too_much = partial(self.hearing.refuse, _AN_ENGINE, "order", TOO_MUCH)
        self._link.subscribe(self._keys.outputs(self._me), self._hear, too_much)
        self._link.answer(self._keys.claim(self._me), self._asked)

    # Threads of the link

    def _hear(self, key: str, payload: bytes) -> None:
        batch = self.hearing.read(_AN_ENGINE, "order", self._read_orders, payload)
        if batch is not None:
            self._heard.append(partial(self._order, port_of(key), batch))
        self._wake()

    def _read_orders(self, payload: bytes) -> OrderBatch:
        batch = read_orders(payload)
        for order in batch.orders:
            if order.do == OrderKind.GIVE:
                self._check_engine(order.messages[0].decode())
        return batch

    def _read_claim(self, payload: bytes) -> str:
        who = read_word(Claim, payload).who
        self._check_engine(who)
        return who

    def _check_engine(self, machine: str) -> None:
        if machine not in self._engines:
            raise ValueError("it names a machine that is not an engine of this rig")

    def _sees(self, key: str, there: bool) -> None:
        machine = machine_of(key)
        (self.alive.add if there else self.alive.discard)(machine)
        self._heard.append(partial(self._seen, machine, there))
        self._wake()

    def _asked(self, payload: bytes) -> bytes | None:
        who = self.hearing.read(_AN_ENGINE, "claim", self._read_claim, payload)
        if who is None:
            return None
        with self._lock:
            self._carry_out()
            answer = self._lender.claim(who, self.alive)
        self._wake()
        return pack_answer(answer)

    # With the lock held

    def _carry_out(self) -> None:
        while self._heard:
            self._ready += self._heard.popleft()()

    def _order(self, output: str, batch: OrderBatch) -> list[Delivery]:
        epoch, first, orders = batch
        return self._lender.take(self._clock(), epoch, output, first, orders)

    def _seen(self, machine: str, there: bool) -> list[Delivery]:
        if machine == self._lender.holder:
            if there:
                self._lender.holder_back()
            else:
                self._lender.holder_gone(self._clock(), bool(self.alive))
        return []

    # The loop

    @contextmanager
    def lender(self) -> Iterator[OutputLender]:
        """The lender, while no claim can come between."""
        with self._lock:
            yield self._lender

    @property
    def holder(self) -> str | None:
        """The engine that plays; None if none does."""
        return self._lender.holder

    @property
    def garbled(self) -> int:
        """Orders and claims that made no sense."""
        return self.hearing.garbled(_AN_ENGINE)

    @property
    def due(self) -> int | None:
        """When `turn` next has something to do (ns), or None."""
        with self._lock:
            return self._lender.due

    def turn(self) -> list[Delivery]:
        """What the drivers are to be given now."""
        with self._lock:
            self._carry_out()
            ready, self._ready = self._ready, []
            ready += self._lender.tick(self._clock())
            self._publish_lease()
        return ready

    def _publish_lease(self) -> None:
        lender, now = self._lender, self._clock()
        lease = lender.epoch, lender.holder, lender.given_to, tuple(sorted(lender.incomplete))
        fenced, self._fenced = lender.fenced != self._fenced, lender.fenced
        again = _PUBLISH_AGAIN if fenced else _PUBLISH_ANYWAY
        if lease != self._published or now - self._published_at >= again:
            self._published, self._published_at = lease, now
            epoch, holder, given_to, incomplete = lease
            word = Lease(epoch=epoch, holder=holder, given_to=given_to, incomplete=incomplete)
            self._link.keep(self._keys.lease(self._me), pack(word))
        lender.incomplete.clear()

    def look(self) -> None:
        """Call this now and then: a holder may have died before its token was ever seen here."""
        with self._lock:
            holder = self._lender.holder
            self._unseen = self._unseen + 1 if holder is not None and holder not in self.alive else 0
            if self._unseen >= _NEVER_SEEN:
                self._lender.holder_gone(self._clock(), bool(self.alive))
