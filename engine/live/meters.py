"""Counters of a running show, and the frozen picture of them for whoever asks."""

from collections import deque
from dataclasses import dataclass
from typing import Final

_KEPT: Final = 8192


@dataclass(slots=True)
class PortMeter:
    """What one port did; loop only."""

    messages: int = 0
    octets: int = 0
    dropped: int = 0
    last_error: str | None = None
    port: str | None = None  # the system's name of the port while it is open
    returns: int = 0  # how often the port was opened after the start

    @property
    def open(self) -> bool:
        """Whether the port is there."""
        return self.port is not None

    def pulled(self, reason: str | None = None) -> None:
        """The port is gone, or not wanted any more."""
        self.port = None
        self.last_error = reason or self.last_error

    def plugged(self, port: str) -> None:
        """The port is there, or back."""
        self.port = port
        self.returns += 1

    def count(self, message: bytes) -> None:
        """One message passed."""
        self.messages += 1
        self.octets += len(message)

    def drop(self, reason: str) -> None:
        """One message could not pass."""
        self.dropped += 1
        self.last_error = reason


class Latency:
    """The last few thousand times from reading a message to handing it to the driver, in ns."""

    def __init__(self) -> None:
        self._samples: deque[int] = deque(maxlen=_KEPT)

    def add(self, sample: int) -> None:
        """One more sample; the oldest gives way."""
        self._samples.append(sample)

    def percentiles(self) -> dict[str, float | None]:
        """p50, p99, p99.9 and worst in milliseconds; None while nothing was measured."""
        kept = sorted(self._samples)
        if not kept:
            return dict.fromkeys(("p50_ms", "p99_ms", "p99_9_ms", "worst_ms"))
        at = {"p50_ms": 0.5, "p99_ms": 0.99, "p99_9_ms": 0.999, "worst_ms": 1.0}
        return {name: kept[min(len(kept) - 1, int(len(kept) * part))] / 1e6 for name, part in at.items()}
