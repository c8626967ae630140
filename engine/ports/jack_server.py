"""Watches one JACK server through a small client of its own, in plain ctypes.

python-rtmidi does not report a server that died or froze, and a send into a full ring then blocks the whole process for
ever. So this client asks first whether a server is running, is notified of its end, and watches its cycles.
"""

import contextlib
import ctypes
import errno
import threading
import time
from itertools import takewhile
from typing import Any, Final

import rtmidi

from engine.ports.jack_end import CLOSED, MISSING, STOPPED
from engine.ports.port import NotRunning, PortError, PortGone

_NO_START_SERVER: Final = 0x01  # JackNoStartServer in jack/types.h: never start a server ourselves
_MIDI: Final = b"8 bit raw midi"  # JACK_DEFAULT_MIDI_TYPE in jack/types.h, as the flags that follow
_IS_INPUT: Final = 0x1
_IS_OUTPUT: Final = 0x2
_FRESH: Final = 0.05  # seconds for which a server that made a cycle counts as running
_STANDS_STILL: Final = 1  # in place of the time of the server's end
_DOUBT: Final = 1.0  # seconds in which a running server makes a cycle for certain
_libc: Final = ctypes.CDLL(None)
_ends: Final[list[ctypes.c_int64]] = []  # never freed: a frozen server's client stays open, and may write there


def _load() -> ctypes.CDLL:
    """The libjack that python-rtmidi is linked with (its wheel contains one), found through its own module."""
    jack = ctypes.CDLL(rtmidi._rtmidi.__file__)
    jack.jack_client_open.restype = ctypes.c_void_p
    for function in (jack.jack_get_sample_rate, jack.jack_get_buffer_size, jack.jack_last_frame_time):
        function.argtypes = [ctypes.c_void_p]
        function.restype = ctypes.c_uint32
    jack.jack_port_by_name.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    jack.jack_port_by_name.restype = ctypes.c_void_p
    jack.jack_port_get_all_connections.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
    jack.jack_port_get_all_connections.restype = ctypes.POINTER(ctypes.c_char_p)
    jack.jack_get_ports.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p, ctypes.c_ulong]
    jack.jack_get_ports.restype = ctypes.POINTER(ctypes.c_char_p)
    jack.jack_connect.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p]
    jack.jack_disconnect.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p]
    jack.jack_free.argtypes = [ctypes.c_void_p]
    jack.jack_client_close.argtypes = [ctypes.c_void_p]
    jack.jack_on_shutdown.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p]
    _silence(jack)
    return jack


def _silence(jack: ctypes.CDLL) -> None:
    """Keep the library's messages off the player's terminal.

    Its threads call what is set here, so it is a C function that does nothing with its argument: no Python there.
    """
    idle = ctypes.cast(_libc.abs, ctypes.c_void_p)
    jack.jack_set_error_function(idle)
    jack.jack_set_info_function(idle)


class JackServer:
    """The server that JACK_DEFAULT_SERVER names (or "default"). Raises NotRunning if it is not running."""

    def __init__(self, client_name: str) -> None:
        self._jack = _load()
        self._end = ctypes.c_int64()  # the time of the server's end, or _STANDS_STILL
        _ends.append(self._end)
        self._cycle = 0
        self._went_on_at = 0.0  # when it last made a cycle, as far as we know (monotonic seconds)
        self._asking = threading.Lock()  # the library's client handles one request at a time
        self._looking = threading.Lock()  # its lists must not vanish while they are read
        status = ctypes.c_int()
        self._client: Any = self._jack.jack_client_open(
            client_name.encode(), ctypes.c_int(_NO_START_SERVER), ctypes.byref(status)
        )
        if not self._client:
            raise NotRunning(MISSING)
        # a C function, which writes the time there: the library may cancel a thread while it holds Python's lock
        self._jack.jack_on_shutdown(self._client, ctypes.cast(_libc.time, ctypes.c_void_p), ctypes.byref(self._end))
        rate = self._jack.jack_get_sample_rate(self._client)
        self._frames: int = self._jack.jack_get_buffer_size(self._client)
        self.period: float = self._frames / rate  # seconds

    @property
    def died(self) -> bool:
        """Whether the server has ended, as far as we know."""
        return bool(self._end)

    def check(self) -> None:
        """Raise PortGone if the server has ended, PortError if we closed our client."""
        if self.died:
            raise PortGone(STOPPED)
        if self._client is None:
            raise PortError(CLOSED)

    def cycle(self) -> int:
        """A count of the server's cycles, from any start, and again from 0 after a day; it stops with the server."""
        if self._client and not self.died:
            # the library returns 0 once it has closed, which is not a new cycle
            self._cycle = self._jack.jack_last_frame_time(self._client) // self._frames or self._cycle
        return self._cycle

    def doubt(self) -> None:
        """Find out whether the server has just died: something failed, and the library may no longer report its end.

        Raises PortGone if the server is dead, or makes no cycle for a second.
        """
        seen, end = self.cycle(), time.monotonic() + _DOUBT
        while not self.died and self.cycle() == seen:
            if time.monotonic() > end:
                self._end.value = _STANDS_STILL
            time.sleep(self.period)
        self.check()
        self._went_on_at = time.monotonic()

    def goes_on(self) -> bool:
        """Whether the server is running and makes cycles, as seen just now or shortly before.

        Ask this before closing anything: a request to a server that has frozen blocks us with it. It takes a period, or
        a second if the server has frozen, which then counts as dead.
        """
        if self._client is not None and time.monotonic() - self._went_on_at > _FRESH:
            with contextlib.suppress(PortError):
                self.doubt()
        return not self.died

    def ports(self, playing: bool) -> list[str]:
        """The names of all MIDI ports that send, or of those that receive. Raises PortError, PortGone."""
        self.check()
        with self._looking:
            return self._read(
                self._jack.jack_get_ports(self._client, None, _MIDI, _IS_OUTPUT if playing else _IS_INPUT)
            )

    def joined_to(self, name: str) -> list[str]:
        """The ports that are connected to the one of this name; empty if there is no such port."""
        with self._looking:
            if self._client is None or self.died:
                return []
            port = self._jack.jack_port_by_name(self._client, name.encode())
            return self._read(self._jack.jack_port_get_all_connections(self._client, port)) if port else []

    def full_name(self, port: str) -> str:
        """The server's full name of our port, whose client the server may have renamed.

        Raises PortError if there is no such port.
        """
        names = self.ports(playing=True) + self.ports(playing=False)
        found = next((name for name in names if name.partition(":")[2] == port), None)
        if found is None:
            raise PortError(f'the JACK server does not show our own port "{port}"')
        return found

    def join(self, source: str, target: str) -> None:
        """Connect two ports by their names. Waits for the server, without the interpreter's lock.

        Raises PortError if the server refuses.
        """
        with self._asking:
            self.check()
            refused = self._jack.jack_connect(self._client, source.encode(), target.encode())
        if refused not in (0, errno.EEXIST):
            raise PortError(f'"{source}" and "{target}" could not be connected; one of them may have just gone')

    def part(self, name: str) -> None:
        """Disconnect the port of this name from everything."""
        for other in self.joined_to(name):
            for source, target in ((name, other), (other, name)):  # one of the two is the right way round
                with self._asking:
                    if self._client is not None and self.goes_on():
                        self._jack.jack_disconnect(self._client, source.encode(), target.encode())

    @property
    def closed(self) -> bool:
        """Whether our client is closed."""
        return self._client is None

    def close(self) -> None:
        """Close our client; calling it again does nothing.

        One of a server that has stopped is left alone: when the library opens another client it frees all that are
        left, and may have done so already (jack2, JackLibGlobals::Init).
        """
        # another thread may be waiting for a server that has frozen
        answers = self.goes_on() and self._asking.acquire(timeout=_DOUBT)
        with self._looking:
            client, self._client = self._client, None
            if client is not None and answers:
                self._jack.jack_client_close(client)
        if answers:
            self._asking.release()

    def _read(self, names: Any) -> list[str]:
        """The names in a list of the library's, which is then freed."""
        if not names:
            return []
        try:
            return [name.decode(errors="replace") for name in takewhile(bool, names)]
        finally:
            self._jack.jack_free(names)
