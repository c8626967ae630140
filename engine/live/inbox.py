"""The one thread that polls every input, and the queue it fills.

It stamps, appends and pokes the loop; it never routes and never raises. It also pokes when the core has something
due, so that pacing does not depend on the loop's own timers (they are a millisecond late).
"""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

from engine.ports.port import InputPort, PortError

_PLAYING: Final = 0.00025  # seconds between polls while anything was heard lately
_IDLE: Final = 0.001
_LATELY: Final = 2_000_000_000  # ns


class Arrival(NamedTuple):
    """One message: when it was read (ns), from which input (index)."""

    at: int
    source: int
    message: bytes


class Inbox:
    """Made and read by the loop; filled by a thread of its own."""

    def __init__(self, ports: Mapping[int, InputPort]) -> None:
        self.due: int | None = None  # set by the loop: when the core wants to be woken (ns)
        self.lost: deque[tuple[int, str]] = deque()  # inputs that failed, with the reason
        self._ports = dict(ports)
        self._arrivals: deque[Arrival] = deque()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, wake: Callable[[], object]) -> None:  # loop only
        """Begin to poll; `wake` is called from the thread and must be cheap and safe there."""
        self._thread = threading.Thread(target=self._run, args=(wake,), name="bayleaf-reader", daemon=True)
        self._thread.start()

    def stop(self) -> None:  # loop only
        """End the thread and close the inputs; what had arrived can still be taken."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()
        for port in self._ports.values():
            port.close()

    def take(self) -> list[Arrival]:  # loop only
        """All that has arrived so far; what comes meanwhile waits for the next call."""
        arrivals = self._arrivals
        return [arrivals.popleft() for _ in range(len(arrivals))]

    def repairs(self) -> dict[int, int]:  # any thread
        """Broken pieces of input that were mended or thrown away, by input."""
        return {source: port.repairs for source, port in list(self._ports.items())}

    def _run(self, wake: Callable[[], object]) -> None:  # reader thread
        heard_at = 0
        while not self._stopping.is_set():
            now = time.monotonic_ns()
            if self._poll(now):
                heard_at = now
                wake()
            elif self.due is not None and self.due <= now:
                wake()
            time.sleep(_PLAYING if now - heard_at < _LATELY or self.due is not None else _IDLE)

    def _poll(self, now: int) -> bool:  # reader thread
        heard = False
        for source, port in list(self._ports.items()):
            try:
                messages = port.poll()
            except PortError as fault:
                self._lose(source, str(fault))
                heard = True
                continue
            except Exception as fault:  # a fault of our own costs this input, not the others
                self._lose(source, f"a fault of Bayleaf itself: {fault!r}")
                heard = True
                continue
            for message in messages:
                self._arrivals.append(Arrival(now, source, message))
                heard = True
        return heard

    def _lose(self, source: int, reason: str) -> None:  # reader thread
        port = self._ports.pop(source)
        self.lost.append((source, reason))
        with contextlib.suppress(Exception):  # it is gone in any case
            port.close()
