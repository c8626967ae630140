"""Closes and deletes rtmidi objects on JACK, each only while its JACK threads are out of what that takes from them.

RtMidi 5.0.0 frees an output's ring before it closes the client (`~MidiOutJack`), whose thread may be reading there. On
a machine without real-time scheduling that thread may have lost the processor just then, and the process crashes. Once
the port is closed the thread reads nothing any more (`jackProcessOut` returns at once without a port). Closing the port
takes it out of a list that the library goes through in another thread, without a lock (jack2,
`JackClient::HandleLatencyCallback`). So: see the threads at rest, close the port, see them at rest again, delete.
"""

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from engine.ports.jack_server import JackServer

_TASKS: Final = Path("/proc/self/task")
_PATIENCE: Final = 1.0  # seconds that a thread is given to be seen at rest; at the end it then ends with the process
_LOOK_AGAIN: Final = 0.001  # seconds


class JackClosing:
    """What is closed on one server, and not yet deleted. Any thread."""

    def __init__(self, server: JackServer) -> None:
        self._server = server
        self._threads: dict[int, frozenset[int]] = {}  # id of an object -> the threads that came with it
        self._closed: list[Any] = []
        self._sweeping = threading.Lock()

    def make(self, make: Callable[[], Any]) -> Any:
        """The rtmidi object that this makes. Whatever it raises."""
        self.sweep()
        before = all_threads()
        device = make()
        self._threads[id(device)] = all_threads() - before
        return device

    def close(self, device: Any) -> None:
        """Close its port now, and delete it now or later. It is left alone if the server does not go on."""
        if self._server.goes_on():  # else this may block the process, or end it
            self._see_at_rest(device)
            device.close_port()
            with self._sweeping:
                self._closed.append(device)
        self.sweep()

    def sweep(self) -> None:
        """Delete what was closed and is at rest."""
        with self._sweeping:
            waiting, self._closed = self._closed, []
            for device in waiting:
                if not self._at_rest(device):
                    self._closed.append(device)
                elif self._server.goes_on():
                    self._threads.pop(id(device), None)
                    device.delete()

    def finish(self) -> None:
        """Delete everything that was closed, as far as it comes to rest."""
        end = time.monotonic() + _PATIENCE
        self.sweep()
        while self._closed and time.monotonic() < end:
            time.sleep(_LOOK_AGAIN)
            self.sweep()

    def _see_at_rest(self, device: Any) -> None:
        end = time.monotonic() + _PATIENCE
        while not self._at_rest(device) and time.monotonic() < end:
            time.sleep(_LOOK_AGAIN)

    def _at_rest(self, device: Any) -> bool:
        return all(thread_state(thread) not in ("R", "D") for thread in self._threads.get(id(device), ()))


def all_threads() -> frozenset[int]:
    """Of this process; none where the system does not list them."""
    try:
        return frozenset(int(name) for name in os.listdir(_TASKS))
    except OSError:
        return frozenset()


def thread_state(thread: int) -> str:
    """R if it runs or would like to, D if the system keeps it, S if it waits (proc(5)); empty if it has ended."""
    try:
        return (_TASKS / str(thread) / "stat").read_text(encoding="ascii", errors="replace").rpartition(") ")[2][:1]
    except OSError:
        return ""
