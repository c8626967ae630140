"""What happens to a process whose JACK server freezes or dies; tests/real/test_jack_ports.py reads its output."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from engine.ports.port import InputPort, OutputPort, PortError, PortGone
from tests.support import jack_systems
from tests.support.jack_servers import MORTAL, start_as_granted
from tests.support.jack_systems import JackPorts
from tests.support.waiting import until

NOTE = b"\x90\x40\x40"


def _make(name: str) -> JackPorts:
    """Ports on JACK, in the way that the first argument names."""
    way: Callable[[str], JackPorts] = getattr(jack_systems, sys.argv[1])
    return way(name)


def refusals(send: Callable[[bytes], None], seconds: float) -> int:
    """Send as fast as possible, and at least once; returns how often a message was refused."""
    refused = 0
    end = time.monotonic() + seconds
    while True:
        try:
            send(NOTE)
        except PortError:
            refused += 1
        if time.monotonic() >= end:
            return refused


def freeze(server: int) -> None:
    """Send to a frozen server, for far longer than its ring has room."""
    system = _make("bayleaf")
    output = system.open_virtual_output("strings")
    os.kill(server, signal.SIGSTOP)
    print("refused" if refusals(output.send, 1.0) else "never refused")
    os.kill(server, signal.SIGCONT)
    until("a message taken", lambda: not refusals(output.send, 0))
    print("sends again")
    output.close()
    system.close()


def kill(server: int) -> None:
    """Send until the server's death is reported; then read, list and close."""
    system = _make("bayleaf")
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")
    os.kill(server, signal.SIGKILL)
    end = time.monotonic() + 20
    for use in (lambda: output.send(NOTE), source.poll, system.inputs):
        while time.monotonic() < end:
            try:
                use()
            except PortError as fault:
                if "is full" not in str(fault):
                    print(fault)
                    break
    for thing in (output, source, system):
        thing.close()
    print("closed")


def come_back(server: int) -> None:
    """Three times: the server dies, all ports say so and close, it starts again, and ports carry messages again."""
    ours, theirs = _make("bayleaf"), _make("Stage piano")
    ports = _open(ours, theirs)
    _carries(ports)
    before = _held()
    os.kill(server, signal.SIGKILL)
    for _ in range(3):
        for output, source in ports:
            for use in (output.check, source.poll):
                for _ in range(3):  # again and again
                    _until(use, PortGone)
        if "still open" not in _until(ours.refresh, PortError):
            print("refreshed with ports open")
        _close(ports)
        for _ in range(20):  # the first port to ask must not make the other one miss it
            for system in (ours, theirs):
                _until(system.refresh, PortError)
        running = start_as_granted(MORTAL)
        try:
            for system in (ours, theirs):
                system.refresh()
                system.refresh()
            ports = _open(ours, theirs)
            _carries(ports)
            print("as before" if _held() == before else f"{_held()} threads and descriptors, not {before}")
        finally:
            _end(running)
    _close(ports)
    ours.close()
    theirs.close()
    print("closed")


def die_in_the_middle(server: int) -> None:
    """The server dies while ports are opened: the opening ends, all open ports report it, a new server is joined."""
    system = _make("bayleaf")
    running: subprocess.Popen[bytes] | None = None
    for number in range(16):  # an opening takes some 25 ms: the server dies at any moment of it
        ports: list[InputPort | OutputPort] = []
        subprocess.Popen(["/bin/sh", "-c", f"sleep {0.005 * number}; kill -9 {server}"])

        def open_two(ports: list[InputPort | OutputPort] = ports) -> None:
            ports.append(system.open_virtual_input(f"keys {len(ports)}"))
            ports.append(system.open_virtual_output(f"strings {len(ports)}"))

        _until(open_two, PortGone)
        for port in ports:
            _until(port.check if hasattr(port, "check") else port.poll, PortGone)
            port.close()
        _until(system.refresh, PortError)
        if running is not None:
            running.wait()
        running = start_as_granted(MORTAL)
        system.refresh()
        system.open_virtual_output("strings").close()
        print("joined again")
        server = running.pid
    system.close()
    assert running is not None
    _end(running)


def _open(ours: JackPorts, theirs: JackPorts) -> list[tuple[OutputPort, InputPort]]:
    """Our input connected to their output, and their input to our output."""
    piano, strings = theirs.open_virtual_output("out"), ours.open_virtual_output("strings")
    return [(piano, ours.open_input("Stage piano*:out")), (strings, theirs.open_input("bayleaf*:strings"))]


def _close(ports: list[tuple[OutputPort, InputPort]]) -> None:
    for output, source in ports:
        output.close()
        source.close()


def _carries(ports: list[tuple[OutputPort, InputPort]]) -> None:
    """What each output sends arrives at its input."""
    for output, source in ports:

        def heard(output: OutputPort = output, source: InputPort = source) -> bool:
            output.send(NOTE)  # a connection may be there before it carries
            return NOTE in source.poll()

        until("a note heard", heard)
        print("heard")


def _until(use: Callable[[], object], kind: type[PortError]) -> str:
    """Use it until it raises this; returns the text."""

    def raised() -> list[str]:
        try:
            use()
        except kind as fault:
            return [str(fault)]
        except PortError:
            pass
        return []

    return until(f"{kind.__name__} raised", raised)[0]


def _held() -> tuple[int, int]:
    return len(list(Path("/proc/self/task").iterdir())), len(list(Path("/proc/self/fd").iterdir()))


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


if __name__ == "__main__":
    parts = {"freeze": freeze, "kill": kill, "come back": come_back, "die in the middle": die_in_the_middle}
    parts[sys.argv[2]](int(sys.argv[3]))
