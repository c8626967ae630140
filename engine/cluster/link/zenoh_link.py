"""A link over zenoh, the network transport. No other module imports it.

Notes are sent with BLOCK, REAL_TIME, reliable and not express: in measurements nothing was lost with these settings
while a link held. zenoh's Python module calls back in one thread for each subscription, not in its network threads.
"""

import threading
from collections.abc import Callable, Sequence
from functools import cache, partial
from time import monotonic, sleep
from typing import Any, Final

import zenoh

from engine import fault_log
from engine.cluster.link import batching
from engine.cluster.link.deferred_calls import DeferredCalls
from engine.cluster.link.limited_traffic import LimitedTraffic
from engine.cluster.link.link import Changed, Heard, LinkError, LinkSettings, Reply, TooMuch, nothing
from engine.cluster.link.publish_queues import HandOn, PublishQueue, Said
from engine.cluster.link.retained_state import RetainedState, RetainedStateReader

_FAREWELL: Final = 0.3  # seconds in which the queues may still send
_CLOSING: Final = 1.5  # seconds for the session; QUIC takes half a second while it dials
_PATIENCE: Final = 0.3  # seconds for an answer
_LOOK: Final = 0.05  # seconds
#: what a token that goes costs beside the rest, in words: 400 may go at once, and 100 per second after that
GONE: Final = 984
_SCOUT: Final = '{"scouting": {"multicast": {"enabled": true}}}'
_REMOTE: Final = zenoh.Locality.REMOTE
_NOTES: Final = (zenoh.CongestionControl.BLOCK, zenoh.Priority.REAL_TIME, zenoh.Reliability.RELIABLE)
_STATES: Final = (zenoh.CongestionControl.BLOCK, zenoh.Priority.INTERACTIVE_HIGH, zenoh.Reliability.RELIABLE)
_BULK: Final = (zenoh.CongestionControl.BLOCK, zenoh.Priority.DATA, zenoh.Reliability.RELIABLE)
_HINTS: Final = (zenoh.CongestionControl.DROP, zenoh.Priority.BACKGROUND, zenoh.Reliability.BEST_EFFORT)
_Quality = tuple[zenoh.CongestionControl, zenoh.Priority, zenoh.Reliability]


class ZenohLink:
    """See `engine.cluster.link.link.Link`."""

    def __init__(self, settings: LinkSettings) -> None:
        """Join. Raises LinkError."""
        try:
            self._session = zenoh.open(zenoh.Config.from_json5(settings.config))
        except zenoh.ZError as fault:
            raise LinkError(f"the network cannot be joined: {str(fault).partition(' at /')[0]}") from None
        self.lost = 0
        self.faults = 0
        self._machine = settings.machine
        self._lock = threading.Lock()
        self._queues: dict[str, PublishQueue] = {}
        self._tokens: dict[str, zenoh.LivelinessToken] = {}
        self._own: set[str] = set()  # every token we have shown: zenoh reports our own as well
        self._kept: dict[str, RetainedState] = {}
        self._declared: list[Any] = []  # zenoh ends what is no longer referred to
        self._deferred = DeferredCalls("link calls", self._call)
        self._closed = False

    # Publishing

    def publish(self, key: str, payload: bytes, bulk: bool = False) -> None:
        if bulk:
            self._put("bulk", key, payload, _BULK)
        else:
            self._put(key.rpartition("/")[0], key, payload)  # one queue for all ports of a machine

    def hint(self, key: str, payload: bytes) -> None:
        self._put("hints", key, payload, _HINTS)

    def keep(self, key: str, payload: bytes) -> None:
        mine = f"{key}/{self._machine}"
        kept = self._kept.get(key)
        if kept is None:
            kept = self._kept[key] = RetainedState()
            self._deferred.put(partial(self._offer, mine, kept))
        self._put("states", mine, kept.replace(payload), _STATES)

    def _put(self, name: str, key: str, payload: bytes, quality: _Quality | None = None) -> None:
        if self._closed:
            self._failed(1)
            return
        if name not in self._queues:
            with self._lock:
                if name not in self._queues:
                    hand_on = self._together(name) if quality is None else self._singly(quality)
                    self._queues[name] = PublishQueue(name, hand_on, self._failed)
        self._queues[name].put(key, payload)

    def _together(self, folder: str) -> HandOn:
        publisher = cache(partial(self._publisher, _NOTES))  # made in the queue's thread, as it takes a moment
        key = batching.key_of(folder)

        def hand_on(said: Sequence[Said]) -> None:
            for bundle in batching.packs(said):
                publisher(key).put(bundle)

        return hand_on

    def _singly(self, quality: _Quality) -> HandOn:
        publisher = cache(partial(self._publisher, quality))

        def hand_on(said: Sequence[Said]) -> None:
            for key, payload in said:
                try:
                    publisher(key).put(payload)
                except zenoh.ZError:
                    self._failed(1)

        return hand_on

    def _publisher(self, quality: _Quality, key: str) -> zenoh.Publisher:
        congestion, priority, reliability = quality
        return self._session.declare_publisher(
            key, congestion_control=congestion, priority=priority, express=False, reliability=reliability
        )

    def _offer(self, key: str, kept: RetainedState) -> None:  # thread of the deferred calls
        self.answer(key, kept.last)
        self.alive(key)

    def _failed(self, many: int) -> None:
        self.lost += many

    # Subscribing

    def subscribe(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        folder, _, last = key.rpartition("/")

        def hear(key: str, payload: bytes) -> None:
            if last in ("*", key.rpartition("/")[2]):
                self._call(heard, key, payload)

        def sample(found: zenoh.Sample) -> None:
            key, payload = str(found.key_expr), found.payload.to_bytes()
            if not batching.is_bundle(key):
                hear(key, payload)
                return
            try:
                said = batching.unpack(key, payload)
            except ValueError:
                said = [(key, b"")]  # no message of any kind is empty: `heard` counts it
            for each in said:
                hear(*each)

        def declare(sample: Callable[[zenoh.Sample], None]) -> Any:
            # of the whole folder, as bundles have a key of their own
            return self._session.declare_subscriber(f"{folder}/*", sample, allowed_origin=_REMOTE)

        self._declared.append(LimitedTraffic(declare, sample, too_much, self._deferred))

    def subscribe_state(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        followed = RetainedStateReader(key, heard)
        to_fetch: set[str] = set()  # each once: a token that flickers must not keep the others waiting

        def fetch(kept: str) -> None:
            to_fetch.discard(kept)
            for answer in self.ask(kept, b""):
                self._call(followed.take, answer)

        def kept_by(kept: str, there: bool) -> None:
            if there and kept not in to_fetch:  # also when a lost link is back
                to_fetch.add(kept)
                self._deferred.put(partial(fetch, kept))

        self.subscribe(f"{key}/*", lambda _, stamped: followed.take(stamped), too_much)
        self.watch(f"{key}/*", kept_by)

    # Tokens

    def alive(self, key: str) -> None:
        with self._lock:
            self._own.add(key)
            if key not in self._tokens and not self._closed:
                self._tokens[key] = self._session.liveliness().declare_token(key)

    def gone(self, key: str) -> None:
        with self._lock:
            token = self._tokens.pop(key, None)
            if token is not None:
                token.undeclare()

    def watch(self, key: str, changed: Changed) -> None:
        shown: set[str] = set()

        def sample(found: zenoh.Sample) -> None:
            token, there = str(found.key_expr), found.kind == zenoh.SampleKind.PUT
            if token not in self._own:
                (shown.add if there else shown.discard)(token)
                self._call(changed, token, there)

        def too_much() -> None:
            for token in [*shown]:
                self._call(changed, token, False)
            shown.clear()

        def declare(sample: Callable[[zenoh.Sample], None]) -> Any:
            return self._session.liveliness().declare_subscriber(key, sample, history=True)

        self._declared.append(LimitedTraffic(declare, sample, too_much, self._deferred, _of_a_token))

    def present(self, key: str) -> list[str]:
        replies = self._session.liveliness().get(key, timeout=_PATIENCE)
        found = {str(reply.ok.key_expr) for reply in replies if reply.ok is not None}
        return sorted(found - self._own)

    # Questions and answers

    def answer(self, key: str, reply: Reply) -> None:
        def question(found: zenoh.Query) -> None:
            with found:
                payload = found.payload.to_bytes() if found.payload is not None else b""
                self._call(self._reply, found, reply, payload)

        def declare(question: Callable[[zenoh.Query], None]) -> Any:
            return self._session.declare_queryable(key, question, complete=True, allowed_origin=_REMOTE)

        self._declared.append(LimitedTraffic(declare, question, nothing, self._deferred))

    def _reply(self, question: zenoh.Query, reply: Reply, payload: bytes) -> None:
        answer = reply(payload)
        if answer is not None:
            question.reply(question.key_expr, answer)

    def ask(self, key: str, payload: bytes, timeout_s: float = _PATIENCE) -> list[bytes]:
        congestion, priority, _ = _NOTES
        try:
            replies = self._session.get(
                key,
                payload=payload,
                timeout=timeout_s,
                target=zenoh.QueryTarget.ALL,
                consolidation=zenoh.ConsolidationMode.NONE,
                congestion_control=congestion,
                priority=priority,
                express=False,
                allowed_destination=_REMOTE,
            )
        except zenoh.ZError:  # it is closed
            return []
        return [reply.ok.payload.to_bytes() for reply in replies if reply.ok is not None]

    def _call(self, called: Callable[..., None], *said: object) -> None:
        try:
            called(*said)
        except Exception as fault:  # it costs this call, not the link
            self.faults += 1
            fault_log.faults.record(f"handling what the network brought, in {called}", fault)

    # The end

    def close(self) -> None:
        with self._lock:
            if self._closed:
                return
            self._closed = True
        until = monotonic() + _FAREWELL
        for queue in self._queues.values():
            queue.end()
        for queue in self._queues.values():
            queue.wait(max(0.0, until - monotonic()))
        self._deferred.end()
        # a session can take seconds over this where packets are lost (zenoh issue 2675)
        closing = threading.Thread(target=self._session.close, name="link closes", daemon=True)
        closing.start()
        closing.join(_CLOSING)


def _of_a_token(found: zenoh.Sample) -> int:
    """A token that goes has come before, and may again: the coming of thousands at the start is paid for with it."""
    return GONE if found.kind == zenoh.SampleKind.DELETE else 0


def scout(seconds: float) -> list[str]:
    """The addresses of machines that answer a multicast search."""
    found = set()
    looking = zenoh.scout(what="peer|router", config=zenoh.Config.from_json5(_SCOUT))
    until = monotonic() + seconds
    while monotonic() < until:
        hello = looking.try_recv()
        if hello is None:
            sleep(_LOOK)
        else:
            found |= {locator.partition("/")[2] for locator in hello.locators}
    looking.stop()
    return sorted(found)
