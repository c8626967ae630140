"""The one client, asked for one thing at a time, and never while the server does not go on.

The library's client handles one request at a time; and a request to a server that has frozen blocks whoever makes it.
"""

import contextlib
import errno
import threading
import time
from collections.abc import Callable
from typing import Final, TypeVar

from engine.ports.jack_client.native import Client
from engine.ports.jack_end import CLOSED, MISSING, STOPPED
from engine.ports.port import PortError, PortGone

_Answer = TypeVar("_Answer")

_FRESH: Final = 0.05  # seconds for which a server that made a cycle counts as running
_DOUBT: Final = 1.0  # seconds in which a running server makes a cycle for certain
_SHOWN: Final = (
    0.5  # seconds after which a connection that was made is shown for certain: the server does so a period late
)
_LOOK_AGAIN: Final = 0.001  # seconds
_CLOSED_REST: Final = 0.002  # seconds: how long to wait for messages of a client that is closed


class WatchedJackClient:
    """The server that JACK_DEFAULT_SERVER names (or "default"). Raises PortError if it is not running.

    `native` carries the messages. Any thread.
    """

    def __init__(self, name: str) -> None:
        try:
            self.native = Client(name)
        except OSError:
            raise PortError(MISSING) from None
        self.closed = False
        self._frozen = False
        self._went_on_at = 0.0  # when it last made a cycle, as far as we know (monotonic seconds)
        self._asking = threading.Lock()

    @property
    def died(self) -> bool:
        """Whether the server has ended or stands still, as far as we know."""
        return self._frozen or (not self.closed and self.native.died)

    def check(self) -> None:
        """Raise PortGone if the server has ended, PortError if we closed our client."""
        if self.died:
            raise PortGone(STOPPED)
        if self.closed:
            raise PortError(CLOSED)

    def doubt(self) -> None:
        """Find out whether the server has just died. Raises PortGone if it has, or makes no cycle for a second."""
        seen, end = self.native.cycles, time.monotonic() + _DOUBT
        while not self.died and not self.closed and self.native.cycles == seen:
            if time.monotonic() > end:
                self._frozen = True
            time.sleep(_LOOK_AGAIN)
        self.check()
        self._went_on_at = time.monotonic()

    def goes_on(self) -> bool:
        """Whether the server makes cycles, as seen just now or shortly before. Takes a period, or a second if not."""
        if not self.closed and time.monotonic() - self._went_on_at > _FRESH:
            with contextlib.suppress(PortError):
                self.doubt()
        return not self.died and not self.closed

    def ask(self, request: Callable[[], _Answer]) -> _Answer:
        """Make a request to the server, and wait for its answer.

        Raises PortGone if it does not go on, PortError if it refuses.
        """
        if not self._asking.acquire(timeout=_DOUBT):
            self._frozen = True  # another thread waits for its answer
            raise PortGone(STOPPED)
        try:
            if not self.goes_on():
                self.check()
            return request()
        except OSError as fault:
            raise PortError(str(fault)) from fault
        finally:
            self._asking.release()

    def connect(self, place: int, source: str, target: str) -> None:
        """Connect our port at this place, one of the two, and wait until the server shows it. Raises PortError."""
        result = self.ask(lambda: self.native.connect(source, target))
        other = target if self.native.name(place) == source else source
        end = time.monotonic() + _SHOWN
        while result in (0, errno.EEXIST) and time.monotonic() < end:
            if self.native.connected(place, other):
                return
            self.check()
            time.sleep(_LOOK_AGAIN)
        raise PortError(f'"{source}" and "{target}" could not be connected; one of them may have just gone')

    def take_away(self, place: int) -> None:
        """Close a port, once it has passed on its last messages; if the server has ended, its port is gone as it is."""
        with contextlib.suppress(PortError):
            self.ask(lambda: self.native.close_port(place))

    def wait(self, seconds: float) -> None:
        """Return when a message has come, something has happened, or after this time."""
        try:
            self.native.wait(seconds)
        except OSError:
            time.sleep(min(seconds, _CLOSED_REST))

    def rouse(self) -> None:
        """End that wait."""
        with contextlib.suppress(OSError):
            self.native.rouse()

    def close(self) -> None:
        """Leave the server; calling it again does nothing."""
        if self.closed:
            return
        self.goes_on()
        answers = not self._frozen and self._asking.acquire(timeout=_DOUBT)
        self.closed = True
        if not answers:
            self.native.abandon()
            return
        self.native.close()
        self._asking.release()
