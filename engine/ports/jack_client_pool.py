"""A pool of JACK clients made in advance, each with one port that is ready to be connected.

Making a client holds the interpreter's lock, and with it the music, for some 12 ms, and closing one for 8; connecting
an existing one holds nothing. So our end is kept when its cable is pulled, and connected to the next one that comes.
"""

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from typing import Any, Final

import rtmidi

from engine.ports.jack_server import JackServer

_numbers: Final = count(1)
_END_OF_SYSEX: Final = b"\xf7"
_PERIODS: Final = 4  # after which a byte has gone through a connection for certain


@dataclass(eq=False)
class JackClient:
    """An rtmidi object and what JACK calls its port."""

    device: Any
    name: str
    used: bool = False  # it was connected to something before

    @property
    def hears(self) -> bool:
        """Whether it is an input of ours."""
        return isinstance(self.device, rtmidi.MidiIn)


class JackClientPool:
    """The ends on one server. One thread at a time prepares and plugs in; any thread may pull meanwhile."""

    def __init__(self, server: JackServer, make: Callable[[Any, str], Any], close: Callable[[Any], None]) -> None:
        """`make` makes an rtmidi object from its class and a word for its client's name; `close` closes one."""
        self._server = server
        self._make = make
        self._close = close
        self._free: list[JackClient] = []
        self._flusher: JackClient | None = None
        self.names: frozenset[str] = frozenset()  # of all ends, as JACK lists them

    def prepare(self, hearing: int, playing: int) -> None:
        """Have at least this many free inputs and outputs. Raises PortError."""
        for kind, needed in ((rtmidi.MidiIn, hearing), (rtmidi.MidiOut, playing)):
            free = sum(isinstance(end.device, kind) for end in self._free)
            self._free += [self._new(kind) for _ in range(needed - free)]

    def plug_in(self, kind: Any, name: str) -> JackClient:
        """An end that is connected to the port of this name. Raises PortError."""
        end = next((end for end in self._free if isinstance(end.device, kind)), None)
        if end is None:
            end = self._new(kind)
        else:
            self._free.remove(end)
        try:
            if end.hears and end.used:
                self._flush(end)
            self._server.join(*((name, end.name) if end.hears else (end.name, name)))
        except BaseException:
            self._free.append(end)
            raise
        end.used = True
        return end

    def pull(self, end: JackClient) -> None:
        """Disconnect this end from everything, and keep it."""
        self._server.part(end.name)
        self._free.append(end)

    def close(self) -> None:
        """Close all free ends."""
        ends = [*self._free, *([self._flusher] if self._flusher else [])]
        self._free, self._flusher = [], None
        for end in ends:
            self._close(end.device)

    def _new(self, kind: Any) -> JackClient:
        if kind is rtmidi.MidiIn and self._flusher is None:
            self._flusher = self._made(rtmidi.MidiOut, "flush")
        return self._made(kind, "in" if kind is rtmidi.MidiIn else "out")

    def _made(self, kind: Any, part: str) -> JackClient:
        device = self._make(kind, part)
        port = f"{part} {next(_numbers)} of {os.getpid()}"  # a name that no other port has
        try:
            device.open_virtual_port(port)
            name = self._server.full_name(port)
        except BaseException:
            self._close(device)
            raise
        self.names |= {name}
        return JackClient(device, name)

    def _flush(self, end: JackClient) -> None:
        """End the SysEx that its last connection may have left open, and discard what that one brought.

        RtMidi would add all later messages to that SysEx, and no note would ever arrive.
        """
        assert self._flusher is not None, "it was made with the first input"
        self._server.join(self._flusher.name, end.name)
        self._flusher.device.send_message(_END_OF_SYSEX)
        time.sleep(_PERIODS * self._server.period)
        self._server.part(end.name)
        while end.device.get_message() is not None:
            pass
