"""An input that is plugged in here and shared with the other engine."""

import time
from collections.abc import Callable, Sequence
from typing import Final

from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import EventSender
from engine.ports.port import InputPort, InputStream, MessagesLost, WatchableInput

_STREAMS: Final = 1 << 32


class SharedInput:
    """An InputPort that publishes what arrives. Its token is shown while it is open."""

    def __init__(
        self, port: InputPort, link: Link, key: str, token: str, clock: Callable[[], int] = time.monotonic_ns
    ) -> None:
        """`key` is where messages are published; `token` says that the port is plugged in."""
        self._port, self._link, self._key, self._token = port, link, key, token
        self._clock = clock
        self._sender = EventSender(time.time_ns() % _STREAMS)
        link.alive(token)

    @property
    def name(self) -> str:
        return self._port.name

    @property
    def stream(self) -> InputStream:
        return self._port.stream

    @property
    def descriptors(self) -> Sequence[int]:
        """See WatchableInput."""
        return self._port.descriptors if isinstance(self._port, WatchableInput) else ()

    def poll(self) -> list[bytes]:  # reader thread
        """See InputPort."""
        try:
            messages = self._port.poll()
        except MessagesLost:
            self._sender.skip()
            raise
        if messages:
            now = self._clock()
            for payload, bulk in self._sender.packs([(now, message) for message in messages]):
                self._link.publish(self._key, payload, bulk)
        return messages

    def close(self) -> None:
        """See InputPort."""
        self._link.gone(self._token)
        self._port.close()
