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

    def push(self, data: bytes) -> None:  # any thread
        """Bytes arrive, as they would on a cable."""
        with self._lock:
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
        self._waiting.clear()


class MemoryOutput:
    """An output that keeps what it was sent."""

    flow: Flow | None = None
    longest: int | None = None

    def __init__(self, name: str) -> None:
        self.name = name
        self.sent: list[tuple[int, bytes]] = []  # (monotonic ns, message)
        self._gone = False

    def send(self, message: bytes) -> None:
        """See OutputPort."""
        if self._gone:
            raise PortError(f'"{self.name}" was unplugged')
        self.sent.append((time.monotonic_ns(), message))

    def unplug(self) -> None:  # any thread
        """Pull the cable: from now on `send` raises."""
        self._gone = True

    def close(self) -> None:
        """See OutputPort."""
        self._gone = True


class MemorySystem:
    """A system whose ports are in memory; there are the ones named here, and those opened as ports of our own."""

    def __init__(self, client_name: str, inputs: tuple[str, ...] = (), outputs: tuple[str, ...] = ()) -> None:
        self._client_name = client_name
        self._inputs = {name: MemoryInput(name) for name in inputs}
        self._outputs = {name: MemoryOutput(name) for name in outputs}

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return list(self._inputs)

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return list(self._outputs)

    def input(self, name: str) -> MemoryInput:
        """The input of this system name, to play it."""
        return self._inputs[name]

    def output(self, name: str) -> MemoryOutput:
        """The output of this system name, to read what it was sent."""
        return self._outputs[name]

    def open_input(self, pattern: str) -> MemoryInput:
        """See PortSystem."""
        return self._inputs[resolve(pattern, self.inputs())]

    def open_output(self, pattern: str) -> MemoryOutput:
        """See PortSystem."""
        return self._outputs[resolve(pattern, self.outputs())]

    def open_virtual_input(self, name: str) -> MemoryInput:
        """See PortSystem."""
        return MemoryInput(f"{self._client_name}:{name}")

    def open_virtual_output(self, name: str) -> MemoryOutput:
        """See PortSystem."""
        return MemoryOutput(f"{self._client_name}:{name}")

    def close(self) -> None:
        """See PortSystem."""
