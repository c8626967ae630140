"""The one client, asked for one thing at a time, and never while the server does not go on.

The library's client handles one request at a time; and a request to a server that has frozen blocks whoever makes it.
So one thread makes them all.
"""

import contextlib
import errno
import threading
import time
from collections.abc import Callable
from typing import Final, TypeVar

from engine.ports.jack_client.native import Client
from engine.ports.jack_client.requests import PATIENCE, JackRequests
from engine.ports.jack_end import CLOSED, MISSING, STOPPED
from engine.ports.port import NotRunning, PortError, PortGone

_Answer = TypeVar("_Answer")

_PARTING: Final = 10.0  # seconds for leaving the server
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
        self._requests = JackRequests()
        with contextlib.ExitStack() as in_vain:
            in_vain.callback(self._requests.end)
            self.native = self._joined(name)
            in_vain.pop_all()
        self.closed = False
        self._leaving = False
        self._left = threading.Event()
        self._frozen = False
        self._went_on_at = 0.0  # when it last made a cycle, as far as we know (monotonic seconds)

    @property
    def died(self) -> bool:
        """Whether the server has ended or stands still, as far as we know."""
        return self._frozen or (not self.closed and self.native.died)

    def check(self) -> None:
        """Raise PortGone if the server has ended, PortError if we closed our client."""
        if self.died:
            raise PortGone(STOPPED)
        if self._leaving:
            raise PortError(CLOSED)

    def ask(self, request: Callable[[], _Answer], undo: Callable[[_Answer], object] = lambda answer: None) -> _Answer:
        """Make a request to the server, and wait for its answer; `undo` follows one that comes too late.

        Raises PortGone if it does not go on, PortError if it refuses or does not answer.
        """
        self.check()
        try:
            return self._requests.ask(lambda: self._while_it_goes_on(request), undo, PATIENCE)
        except OSError as fault:
            raise PortError(str(fault)) from fault

    def open(self, is_output: bool, name: str) -> int:
        """Make a port of this name; its place. Raises PortError."""
        return self.ask(lambda: self.native.open(is_output, name), self._closed_port)

    def name(self, place: int) -> str:
        """The full name of our port at this place. Raises PortError, for a server may have ended since it was made."""
        try:
            return self.native.name(place)
        except OSError as fault:
            self.check()
            raise PortError(str(fault)) from fault

    def connect(self, place: int, source: str, target: str) -> None:
        """Connect our port at this place, one of the two, and wait until the server shows it. Raises PortError."""
        result = self.ask(lambda: self.native.connect(source, target))
        other = target if self.name(place) == source else source
        end = time.monotonic() + _SHOWN
        while result in (0, errno.EEXIST) and time.monotonic() < end:
            if self.native.connected(place, other):
                return
            self.check()
            time.sleep(_LOOK_AGAIN)
        raise PortError(f'"{source}" and "{target}" could not be connected; one of them may have just gone')

    def take_away(self, place: int) -> None:
        """Have a port closed, once it has passed on its last messages; nobody waits for that.

        If the server has ended, its port is gone as it is.
        """
        self._requests.post(lambda: self._closed_port(place))

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
        """Leave the server with all ports, after all else that was asked for; calling it again does nothing."""
        if self._leaving:
            return
        self._leaving = True
        self._requests.post(self._leave)
        self._requests.end()
        if not self._left.wait(_PARTING):
            self._frozen = True
            self._forget()

    def _joined(self, name: str) -> Client:
        try:
            return self._requests.ask(lambda: Client(name), Client.close)
        except OSError:
            raise NotRunning(MISSING) from None

    # In the thread of the requests

    def _while_it_goes_on(self, request: Callable[[], _Answer]) -> _Answer:
        if not self._goes_on():
            self.check()
        return request()

    def _closed_port(self, place: int) -> None:
        if not self._leaving and self._goes_on():  # the last ports leave with the client, at once
            with contextlib.suppress(OSError):
                self.native.close_port(place)

    def _leave(self) -> None:
        self._goes_on()
        if self._frozen:
            self._forget()
        else:
            self.native.close()
            self.closed = True
        self._left.set()

    def _forget(self) -> None:
        """Leave the client as it is: the server stands still, and closing would wait for it."""
        self.native.abandon()
        self.closed = True

    def _goes_on(self) -> bool:
        """Whether the server makes cycles, as seen just now or shortly before. Takes a period, or a second if not."""
        if time.monotonic() - self._went_on_at < _FRESH:
            return not self.died
        seen, end = self.native.cycles, time.monotonic() + _DOUBT
        while not self.died and self.native.cycles == seen:
            if time.monotonic() > end:
                self._frozen = True
            time.sleep(_LOOK_AGAIN)
        self._went_on_at = time.monotonic()
        return not self.died
