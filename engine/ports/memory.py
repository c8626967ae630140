"""Ports in memory: for the demo, the tests and `--backend memory`."""

import threading
import time
from collections import deque

from engine.midi.stream import Parser
from engine.ports.names import resolve
from engine.ports.port import Flow, PortError


class MemoryInput:
    """An input that is played by calling `push`."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._parser = Parser()
        self._waiting: deque[bytes] = deque()
        self._lock = threading.Lock()  # the parser is not for two threads
        self._gone = False
        self.closed = False

    def push(self, data: bytes) -> None:  # any thread
        """Bytes arrive, as they would on a cable; a closed port does not hear them."""
        with self._lock:
            if self.closed:
                return
            self._waiting.extend(self._parser.feed(data))

    def unplug(self) -> None:  # any thread
        """Pull the cable: from now on `poll` raises."""
        self._gone = True

    def poll(self) -> list[bytes]:
        """See InputPort."""
        if self._gone:
            raise PortError(f'"{self.name}" was unplugged')
        waiting = self._waiting
        return [waiting.popleft() for _ in range(len(waiting))]

    @property
    def repairs(self) -> int:
        """See InputPort."""
        return self._parser.repairs

    def close(self) -> None:
        """See InputPort."""
        with self._lock:
            self.closed = True
            self._waiting.clear()


class MemoryOutput:
    """An output that keeps what it was sent."""

    flow: Flow | None = None
    longest: int | None = None

    def __init__(self, name: str) -> None:
        self.name = name
        self.sent: list[tuple[int, bytes]] = []  # (monotonic ns, message)
        self._gone = False
        self.closed = False

    def send(self, message: bytes) -> None:
        """See OutputPort."""
        if self.closed:
            raise PortError(f'"{self.name}" is closed')
        if self._gone:
            raise PortError(f'"{self.name}" was unplugged')
        self.sent.append((time.monotonic_ns(), message))

    def unplug(self) -> None:  # any thread
        """Pull the cable: from now on `send` raises."""
        self._gone = True

    def close(self) -> None:
        """See OutputPort."""
        self.closed = True


class MemorySystem:
    """A system whose ports are in memory; there are the ones named here, and those opened as ports of our own.

    A port that was closed and is opened again is a new object.
    """

    def __init__(self, client_name: str, inputs: tuple[str, ...] = (), outputs: tuple[str, ...] = ()) -> None:
        self._client_name = client_name
        self._inputs = {name: MemoryInput(name) for name in inputs}
        self._outputs = {name: MemoryOutput(name) for name in outputs}
        self._our_inputs: dict[str, MemoryInput] = {}
        self._our_outputs: dict[str, MemoryOutput] = {}

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return list(self._inputs)

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return list(self._outputs)

    def input(self, name: str) -> MemoryInput:
        """The input of this name, one of the system's or of our own, to play it."""
        return self._inputs.get(name) or self._our_inputs[name]

    def output(self, name: str) -> MemoryOutput:
        """The output of this name, one of the system's or of our own, to read what it was sent."""
        return self._outputs.get(name) or self._our_outputs[name]

    def open_input(self, pattern: str) -> MemoryInput:
        """See PortSystem."""
        name = resolve(pattern, self.inputs())
        if self._inputs[name].closed:
            self._inputs[name] = MemoryInput(name)
        return self._inputs[name]

    def open_output(self, pattern: str) -> MemoryOutput:
        """See PortSystem."""
        name = resolve(pattern, self.outputs())
        if self._outputs[name].closed:
            self._outputs[name] = MemoryOutput(name)
        return self._outputs[name]

    def open_virtual_input(self, name: str) -> MemoryInput:
        """See PortSystem."""
        port = self._our_inputs[name] = MemoryInput(f"{self._client_name}:{name}")
        return port

    def open_virtual_output(self, name: str) -> MemoryOutput:
        """See PortSystem."""
        port = self._our_outputs[name] = MemoryOutput(f"{self._client_name}:{name}")
        return port

    def close(self) -> None:
        """See PortSystem."""
