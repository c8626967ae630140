"""Letting go of our own ports on JACK, where the library crashes whoever does it while the graph changes.

libjack 1.9.21 and 1.9.22 take a port out of their client's list on the thread that asks for it, while their own thread
may be walking that list, as it does after every change of the graph (`PortUnRegister` and `HandleLatencyCallback` in
common/JackClient.cpp); and they cancel the thread that plays wherever it is, be it in the middle of an allocation
(`Deactivate` there, posix/JackPosixThread.h). So a port goes when all is quiet around it, which takes some cycles.
"""

import contextlib
import threading
from collections.abc import Callable
from typing import Any, Final

from engine.ports.jackserver import JackServer
from engine.ports.port import PortError

_PATIENCE: Final = 2.0  # seconds for one port; only a server that stands still takes so long

#: held while a client of this process comes or goes: each changes the graph, and the next one waits until that is over
one_at_a_time: Final = threading.Lock()


class Farewells:
    """Deletes rtmidi objects of one server, one at a time, on threads of its own."""

    def __init__(self, server: JackServer) -> None:
        self._server = server
        self._gone = threading.Condition()
        self._leaving = 0

    def let_go(self, device: Any, name: str, gone: Callable[[], object] = lambda: None) -> None:
        """Delete this object, whose port has this name on the server, soon; `gone` is called, anywhere, afterwards."""
        with self._gone:
            self._leaving += 1
        threading.Thread(target=self._let_go, args=(device, name, gone), name="bayleaf-farewell", daemon=True).start()

    def wait(self) -> None:
        """Until all that was let go of is gone, as far as the server goes on."""
        with self._gone:
            while self._leaving and self._gone.wait(_PATIENCE):
                pass

    def _let_go(self, device: Any, name: str, gone: Callable[[], object]) -> None:
        with one_at_a_time, contextlib.suppress(PortError):
            # else deleting may hold the process for a second, or end it; a dead server has freed what there was
            self._server.settle(name)
            device.delete()
        gone()
        with self._gone:
            self._leaving -= 1
            self._gone.notify_all()
