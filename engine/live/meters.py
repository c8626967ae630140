"""Counters of a port's messages and faults, and the times that messages take through the engine."""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from engine.ports.port import InputPort, OutputPort

_KEPT: Final = 8192


@dataclass(slots=True)
class PortMeter:
    """What one port did. The loop alone changes it; who passes a message adds it to `messages` and `octets`."""

    messages: int = 0
    octets: int = 0
    dropped: int = 0
    last_error: str | None = None
    port: str | None = None  # the system's name of the port while it is open
    returns: int = 0  # how often the port was opened after the start
    since: float = 0.0  # when it was opened, or was found missing; seconds since 1970

    @property
    def open(self) -> bool:
        """Whether the port is open."""
        return self.port is not None

    def begin(self, port: InputPort | OutputPort | None, reason: str | None) -> None:
        """The port at the start, or the reason why it is missing."""
        self.port = port.name if port is not None else None
        self.last_error = reason
        self.since = time.time()

    def pulled(self, reason: str | None = None) -> None:
        """The port was pulled, or closed because it is no longer needed."""
        self.port = None
        self.last_error = reason or self.last_error
        self.since = time.time()

    def plugged(self, port: str) -> None:
        """The port has been opened, for the first time or again."""
        self.port = port
        self.returns += 1
        self.since = time.time()

    def drop(self, reason: str) -> None:
        """One message could not pass, or at an input the driver dropped one or more."""
        self.dropped += 1
        self.last_error = reason


class Latency:
    """The last few thousand times from reading a message to handing it to the driver, in ns."""

    def __init__(self, add: Callable[[int], None] | None = None) -> None:
        """`add` takes the samples instead, in ns."""
        self._samples: deque[int] = deque(maxlen=_KEPT)
        #: adds one sample; the oldest is dropped. An attribute, for a method would cost each message a call more.
        self.add: Callable[[int], None] = add or self._samples.append

    def percentiles(self) -> dict[str, float | None]:
        """p50, p99, p99.9 and worst in milliseconds; None before the first sample."""
        kept = sorted(self._samples)
        if not kept:
            return dict.fromkeys(("p50_ms", "p99_ms", "p99_9_ms", "worst_ms"))
        at = {"p50_ms": 0.5, "p99_ms": 0.99, "p99_9_ms": 0.999, "worst_ms": 1.0}
        return {name: kept[min(len(kept) - 1, int(len(kept) * part))] / 1e6 for name, part in at.items()}
