"""Ports in memory: for the demo, the tests and `--backend memory`. Cables can be pulled, and the service can stop."""

import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable

from engine.midi.byte_stream import StreamParser
from engine.ports.port import DriverFlow, PortError, PortGone
from engine.ports.port_names import resolve

_STOPPED = "the service of the ports in memory has stopped; its ports come back when it does"


class MemoryInput:
    """An input that is played by calling `push`."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.stream = StreamParser()
        self._waiting: deque[bytes] = deque()
        self._lock = threading.Lock()  # the parser is not for two threads
        self.gone: str | None = None  # the reason
        self.closed = False
        self._bell: int | None = None  # a descriptor, once somebody watches this input

    @property
    def descriptors(self) -> tuple[int, ...]:  # any thread
        """See WatchableInput."""
        with self._lock:
            if self._bell is None and not self.closed and sys.platform == "linux":
                self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
            return () if self._bell is None else (self._bell,)

    def push(self, data: bytes) -> None:  # any thread
        """Bytes arrive, as they would on a cable; they are ignored if the port is closed or gone."""
        with self._lock:
            if self.closed or self.gone:
                return
            self._waiting.extend(self.stream.feed(data))
            self._ring()

    def unplug(self, reason: str = "") -> None:  # any thread
        """Pull the cable: what had arrived can still be read, then `poll` raises."""
        with self._lock:
            self.gone = reason or f'"{self.name}" was unplugged'
            self._ring()

    def poll(self) -> list[bytes]:
        """See InputPort."""
        gone, waiting = self.gone, self._waiting  # in this order: nothing that came before the end is lost
        messages = [waiting.popleft() for _ in range(len(waiting))]
        if gone and not messages and not self.closed:
            raise PortGone(gone)
        return messages

    def close(self) -> None:
        """See InputPort."""
        with self._lock:
            self.closed = True
            self._waiting.clear()
            bell, self._bell = self._bell, None
            if bell is not None:
                os.close(bell)

    def _ring(self) -> None:
        if self._bell is not None:
            os.eventfd_write(self._bell, 1)


class MemoryOutput:
    """An output that keeps everything it was sent."""

    flow: DriverFlow | None = None
    longest: int | None = None

    def __init__(self, name: str, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self.name = name
        self.sent: list[tuple[int, bytes]] = []  # (ns by the clock, message)
        self._clock = clock
        self.gone: str | None = None  # the reason
        self.closed = False

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        if self.closed:
            raise PortError(f'"{self.name}" is closed')
        self.check()
        self.sent.append((self._clock(), message))

    def check(self) -> None:
        """See OutputPort."""
        if self.gone and not self.closed:
            raise PortGone(self.gone)

    def unplug(self, reason: str = "") -> None:  # any thread
        """Pull the cable: from now on `send` and `check` raise."""
        self.gone = reason or f'"{self.name}" was unplugged'

    def close(self) -> None:
        """See OutputPort."""
        self.closed = True


class MemorySystem:
    """A PortSystem in memory. It has the ports named here, and those opened as ports of our own.

    A port that was closed, or is gone, is a new object when it is opened again. `clock` (ns) stamps what is sent.
    """

    driver = "ports in memory"

    def __init__(
        self,
        client_name: str,
        inputs: tuple[str, ...] = (),
        outputs: tuple[str, ...] = (),
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._client_name = client_name
        self._clock = clock
        self._inputs = {name: MemoryInput(name) for name in inputs}
        self._outputs = {name: MemoryOutput(name, clock) for name in outputs}
        self._our_inputs: dict[str, MemoryInput] = {}
        self._our_outputs: dict[str, MemoryOutput] = {}
        self._opened: list[MemoryInput | MemoryOutput] = []
        self._pulled: set[str] = set()
        self._running = True
        self._joined = True  # the service runs, and we have joined it since it last started

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return self._there(self._inputs)

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return self._there(self._outputs)

    def input(self, name: str) -> MemoryInput:
        """The input of this name, one of the system's or of our own, to play it."""
        return self._inputs.get(name) or self._our_inputs[name]

    def output(self, name: str) -> MemoryOutput:
        """The output of this name, one of the system's or of our own, to read what it was sent."""
        return self._outputs.get(name) or self._our_outputs[name]

    def unplug(self, name: str) -> None:
        """Pull the cable of the system's port (or ports, one each way) of this name; KeyError if there is none."""
        for port in self._of(name):
            port.unplug()
        self._pulled.add(name)

    def plug(self, name: str) -> None:
        """Put it back; it has to be opened again. Does nothing if it was not pulled; KeyError if there is none."""
        if self._of(name) and name in self._pulled:
            self._pulled.remove(name)
            self._renew([name])

    def stop(self) -> None:
        """The whole service ends: every port is gone, our own too."""
        self._running = self._joined = False
        for source in (*self._inputs.values(), *self._our_inputs.values()):
            source.unplug(_STOPPED)
        for output in (*self._outputs.values(), *self._our_outputs.values()):
            output.unplug(_STOPPED)

    def start(self) -> None:
        """The service runs again; `refresh` connects to it."""
        self._running = True

    def open_input(self, pattern: str) -> MemoryInput:
        """See PortSystem."""
        name = resolve(pattern, self.inputs())
        if self._inputs[name].closed or self._inputs[name].gone:
            self._inputs[name] = MemoryInput(name)
        self._note(self._inputs[name])
        return self._inputs[name]

    def open_output(self, pattern: str) -> MemoryOutput:
        """See PortSystem."""
        name = resolve(pattern, self.outputs())
        if self._outputs[name].closed or self._outputs[name].gone:
            self._outputs[name] = MemoryOutput(name, self._clock)
        self._note(self._outputs[name])
        return self._outputs[name]

    def open_virtual_input(self, name: str) -> MemoryInput:
        """See PortSystem."""
        self._need_service()
        port = self._our_inputs[name] = MemoryInput(f"{self._client_name}:{name}")
        self._note(port)
        return port

    def open_virtual_output(self, name: str) -> MemoryOutput:
        """See PortSystem."""
        self._need_service()
        port = self._our_outputs[name] = MemoryOutput(f"{self._client_name}:{name}", self._clock)
        self._note(port)
        return port

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""

    def refresh(self) -> None:
        """See PortSystem."""
        if self._joined:
            return
        if any(not port.closed for port in self._opened):
            raise PortError("ports of a service that has stopped are still open; close them first")
        if not self._running:
            raise PortError(_STOPPED)
        self._joined = True
        self._renew([*self._inputs, *self._outputs])

    def close(self) -> None:
        """See PortSystem."""

    def _note(self, port: MemoryInput | MemoryOutput) -> None:
        self._opened = [*(each for each in self._opened if not each.closed and each is not port), port]

    def _there(self, names: Iterable[str]) -> list[str]:
        self._need_service()
        return [name for name in names if name not in self._pulled]

    def _need_service(self) -> None:
        if not self._joined:
            raise PortGone(_STOPPED)

    def _of(self, name: str) -> list[MemoryInput | MemoryOutput]:
        both = self._inputs.get(name), self._outputs.get(name)
        if both == (None, None):
            raise KeyError(name)
        return [port for port in both if port is not None]

    def _renew(self, names: Iterable[str]) -> None:
        for name in names:
            if name in self._inputs:
                self._inputs[name] = MemoryInput(name)
            if name in self._outputs:
                self._outputs[name] = MemoryOutput(name, self._clock)
