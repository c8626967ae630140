"""What every port promises, whatever carries its messages.

An input is polled and never calls back; an output is written by one thread only. Both are closed once and then never
used again. Messages are whole MIDI 1.0 messages as `bytes`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from engine.user_error import UserError


@dataclass(frozen=True)
class DriverFlow:
    """How much an output's driver may be handed before the cable or the server has taken it.

    At most `ahead` bytes may be on their way at once, and `per_second` of them leave per second; each message counts
    `overhead` bytes beside its own, which the driver needs for itself.
    """

    ahead: int
    per_second: int
    overhead: int = 0


class PortError(UserError):
    """A port could not be found, opened, read or written; the text is one sentence for the player."""


class NotRunning(PortError):
    """The MIDI system is not there, or not yet: its server was not started, or its module is not loaded."""


class PortGone(PortError):
    """The port is no longer there (unplugged, device gone, server stopped): it never works again; close it."""


class MessagesLost(PortError):
    """The driver may have dropped messages that came after all that were read so far. The port goes on working."""


class InputStream(Protocol):
    """What is known of the bytes that an input turned into messages; a `StreamParser` is one."""

    @property
    def repairs(self) -> int:
        """How many broken pieces of input were repaired or discarded so far."""

    @property
    def open(self) -> bool:
        """Whether part of a SysEx has arrived, but not its end. Always False if the driver hands over whole ones."""


class InputPort(Protocol):
    """Where messages arrive. `poll` never blocks and never raises but `PortError`.

    It raises `PortGone` if the port is gone, `MessagesLost` if the driver's own queue was full.
    """

    @property
    def name(self) -> str:
        """The system's name of the port, for people."""

    def poll(self) -> list[bytes]:  # reader thread only
        """All whole messages that arrived since the last call, oldest first; empty if none."""

    @property
    def stream(self) -> InputStream:
        """What is known of its bytes."""

    def close(self) -> None:
        """Close the port; calling it again does nothing."""


@runtime_checkable
class StampedInput(Protocol):
    """An input whose messages were stamped elsewhere, where they arrived."""

    def hand_to(self, take: Callable[[list[tuple[int, bytes]]], None]) -> None:
        """From now on `poll` returns nothing, and gives `take` each message with its time.

        Times are in ns of this machine's monotonic clock.
        """


@runtime_checkable
class PeriodicInput(Protocol):
    """An input whose driver hands over at most once per period: asking more than twice in one gains nothing."""

    @property
    def period(self) -> float:
        """Seconds; 0 if messages arrive at any time."""


@runtime_checkable
class AwaitedInput(Protocol):
    """An input whose driver can be waited for: asking it again and again gains nothing."""

    def wait(self, seconds: float) -> None:  # reader thread
        """Return when something has come to any input of this driver or befallen it, or after this time at most."""

    def rouse(self) -> None:  # any thread
        """End that wait, or the next one at once."""


@runtime_checkable
class WatchableInput(Protocol):
    """An input at whose descriptors the kernel shows that something comes, though it may be polled a little later."""

    @property
    def descriptors(self) -> Sequence[int]:
        """Those to watch, which are closed when the port is; none if this one cannot be watched."""


class OutputPort(Protocol):
    """Where messages leave."""

    @property
    def name(self) -> str:
        """The system's name of the port, for people."""

    @property
    def flow(self) -> DriverFlow | None:
        """What the driver can take ahead, or None if it never holds anything back."""

    @property
    def longest(self) -> int | None:
        """Length in bytes of the longest message that arrives whole for certain, or None if any length does."""

    def send(self, message: bytes, at: int = 0) -> None:  # loop only
        """Hand one whole message to the driver; PortError if it is refused, PortGone if the port is gone.

        `at`: the time it belongs to (monotonic ns), which a driver that is exact to the frame keeps; 0: at once.
        """

    def check(self) -> None:  # loop only
        """Raise PortGone if the port is no longer there; cheap enough to be asked five times a second."""

    def close(self) -> None:
        """Close the port; calling it again does nothing."""


class PortSystem(Protocol):
    """All ports of one backend, and the ports of our own that other programs can connect to."""

    @property
    def driver(self) -> str:
        """What carries the messages, in words, and what it has missed."""

    def inputs(self) -> list[str]:
        """The system's names of the ports that we can receive from, without our own."""

    def outputs(self) -> list[str]:
        """The system's names of the ports that we can send to, without our own."""

    def open_input(self, pattern: str) -> InputPort:
        """The one port that this pattern matches; PortError, with the candidates, if it matches none or several."""

    def open_output(self, pattern: str) -> OutputPort:
        """The one port that this pattern matches; PortError, with the candidates, if it matches none or several."""

    def open_virtual_input(self, name: str) -> InputPort:
        """A port of our own that other programs can send to; its system name ends in `name`."""

    def open_virtual_output(self, name: str) -> OutputPort:
        """A port of our own that other programs can receive from; its system name ends in `name`."""

    def prepare(self, inputs: int, outputs: int) -> None:
        """Prepare to open this many ports by their patterns, if that takes long. Called before the show.

        Raises PortError.
        """

    def refresh(self) -> None:
        """If the service itself had stopped and is back, connect to it again.

        Raises PortError while it is away. All earlier ports must be closed first.
        """

    def close(self) -> None:
        """Close the backend. Its ports must be closed by those who opened them."""
