"""Watches one JACK server through a small client of its own, in plain ctypes.

python-rtmidi tells nothing of a server that died or froze, and a send into a full ring then stops the whole process
for ever. So this client asks first whether there is a server, hears its end, and sees its cycles go by.
"""

import contextlib
import ctypes
import errno
import threading
import time
from itertools import takewhile
from typing import Any, Final

import rtmidi

from engine.ports.port import PortError, PortGone

MISSING: Final = "the JACK server is not running; start it, or use --backend alsa"

_NO_START_SERVER: Final = 0x01  # JackNoStartServer in jack/types.h: never start a server ourselves
_MIDI: Final = b"8 bit raw midi"  # JACK_DEFAULT_MIDI_TYPE in jack/types.h, as the flags that follow
_IS_INPUT: Final = 0x1
_IS_OUTPUT: Final = 0x2
_FRESH: Final = 0.05  # seconds for which a cycle that was seen proves that the next ones come
_STANDS_STILL: Final = 1  # in the place of the time of the server's end
_DOUBT: Final = 1.0  # seconds in which a server that lives surely makes a cycle
_libc: Final = ctypes.CDLL(None)
_ends: Final[list[ctypes.c_int64]] = []  # kept for ever: a frozen server's client is never closed, and may write there


def _load() -> ctypes.CDLL:
    """The very libjack that python-rtmidi is linked with (its wheel brings one), found through its own module."""
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
    """Keep the library's chatter off the player's terminal.

    Its threads call what is set here, so it is a C function that does nothing with its argument: no Python there.
    """
    idle = ctypes.cast(_libc.abs, ctypes.c_void_p)
    jack.jack_set_error_function(idle)
    jack.jack_set_info_function(idle)


class JackServer:
    """The server that JACK_DEFAULT_SERVER names (or "default"). Raises PortError if it is not running."""

    def __init__(self, client_name: str) -> None:
        self._jack = _load()
        self._end = ctypes.c_int64()  # the time of the server's end, or _STANDS_STILL
        _ends.append(self._end)
        self._cycle = 0
        self._went_on_at = 0.0  # when it was last seen to make a cycle (monotonic seconds)
        self._asking = threading.Lock()  # the library's client asks its server one thing at a time
        self._looking = threading.Lock()  # whoever looks at its lists must not see it go
        status = ctypes.c_int()
        self._client: Any = self._jack.jack_client_open(
            client_name.encode(), ctypes.c_int(_NO_START_SERVER), ctypes.byref(status)
        )
        if not self._client:
            raise PortError(MISSING)
        # a C function, which writes the time there: the library cancels its threads anywhere, in Python with its lock
        self._jack.jack_on_shutdown(self._client, ctypes.cast(_libc.time, ctypes.c_void_p), ctypes.byref(self._end))
        rate = self._jack.jack_get_sample_rate(self._client)
        self._frames: int = self._jack.jack_get_buffer_size(self._client)
        self.period: float = self._frames / rate  # seconds

    @property
    def died(self) -> bool:
        """Whether the server has ended, as far as we know."""
        return bool(self._end)

    def check(self) -> None:
        """Raise PortGone if the server has ended, PortError if we let go of it."""
        if self.died:
            raise PortGone("the JACK server has stopped; its ports come back when it does")
        if self._client is None:
            raise PortError("the JACK ports are closed")

    def cycle(self) -> int:
        """Counts the server's cycles (from anywhere, and again from 0 after a day); it stands still with the server."""
        if self._client and not self.died:
            # the library says 0 once it has let go of its server, which is no cycle that went by
            self._cycle = self._jack.jack_last_frame_time(self._client) // self._frames or self._cycle
        return self._cycle

    def doubt(self) -> None:
        """Something failed as it does on a server that has just died, of which the library may then not tell any more.

        Raises PortGone if the server is dead indeed, or makes no cycle for a second.
        """
        seen, end = self.cycle(), time.monotonic() + _DOUBT
        while not self.died and self.cycle() == seen:
            if time.monotonic() > end:
                self._end.value = _STANDS_STILL
            time.sleep(self.period)
        self.check()
        self._went_on_at = time.monotonic()

    def goes_on(self) -> bool:
        """Whether the server lives and makes cycles, as seen just now or shortly before.

        What one that stands still is asked for holds us with it, so ask this before letting go of anything there.
        It takes a period, or a second if the server stands still, which then counts as dead.
        """
        if self._client is not None and time.monotonic() - self._went_on_at > _FRESH:
            with contextlib.suppress(PortError):
                self.doubt()
        return not self.died

    def ports(self, playing: bool) -> list[str]:
        """The names of all MIDI ports that play to others, or of those that hear. Raises PortError, PortGone."""
        self.check()
        with self._looking:
            return self._read(
                self._jack.jack_get_ports(self._client, None, _MIDI, _IS_OUTPUT if playing else _IS_INPUT)
            )

    def joined_to(self, name: str) -> list[str]:
        """The ports that are connected to the one of this name; none if there is no such port."""
        with self._looking:
            if self._client is None or self.died:
                return []
            port = self._jack.jack_port_by_name(self._client, name.encode())
            return self._read(self._jack.jack_port_get_all_connections(self._client, port)) if port else []

    def full_name(self, port: str) -> str:
        """The server's name of the one port that is called so: it may have changed the name of the client before it.

        Raises PortError if there is none.
        """
        names = self.ports(playing=True) + self.ports(playing=False)
        found = next((name for name in names if name.partition(":")[2] == port), None)
        if found is None:
            raise PortError(f'the JACK server does not show our own port "{port}"')
        return found

    def join(self, source: str, target: str) -> None:
        """Connect two ports by their names. It waits for the server, without the interpreter's lock.

        Raises PortError if the server refuses.
        """
        with self._asking:
            self.check()
            refused = self._jack.jack_connect(self._client, source.encode(), target.encode())
        if refused not in (0, errno.EEXIST):
            raise PortError(f'"{source}" and "{target}" could not be joined; one of them may have gone just now')

    def part(self, name: str) -> None:
        """Disconnect the port of this name from all that it is joined to."""
        for other in self.joined_to(name):
            for source, target in ((name, other), (other, name)):  # one of the two is the right way round
                with self._asking:
                    if self._client is not None and self.goes_on():
                        self._jack.jack_disconnect(self._client, source.encode(), target.encode())

    @property
    def closed(self) -> bool:
        """Whether we let go of it."""
        return self._client is None

    def close(self) -> None:
        """Let go of the server; calling it again does nothing."""
        self.goes_on()
        # another thread may be asking a server that is frozen
        answers = self._end.value != _STANDS_STILL and self._asking.acquire(timeout=_DOUBT)
        with self._looking:
            client, self._client = self._client, None
            if client is not None and answers:
                self._jack.jack_client_close(client)
        if answers:
            self._asking.release()

    def _read(self, names: Any) -> list[str]:
        """A list of the library's, which is freed."""
        if not names:
            return []
        try:
            return [name.decode(errors="replace") for name in takewhile(bool, names)]
        finally:
            self._jack.jack_free(names)
