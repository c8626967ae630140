"""The conformance suite on the ports that every machine has: memory, FIFO, pseudo-terminal."""

import os
import pty
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest

from engine.ports.byte_device import open_device_input, open_device_output
from engine.ports.memory import MemorySystem
from engine.ports.port import PortError
from tests.support.port_conformance import CHECKS, Line


@contextmanager
def memory(folder: Path) -> Iterator[Line]:
    system = MemorySystem("test")
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")

    def heard() -> bytes:
        sent, output.sent[:] = b"".join(message for _, message in output.sent), []
        return sent

    yield Line(source, output, source.push, heard, system.stop)


def _written(handle: int) -> Callable[[bytes], None]:
    """Write all of it, however little the device takes at a time."""

    def write(data: bytes) -> None:
        while data:
            data = data[os.write(handle, data) :]

    return write


def _read(handle: int) -> Callable[[], bytes]:
    def read() -> bytes:
        try:
            return os.read(handle, 65536)
        except BlockingIOError:
            return b""

    return read


@contextmanager
def fifo(folder: Path) -> Iterator[Line]:
    for name in ("in", "out"):
        os.mkfifo(folder / name)
    source, output = open_device_input(str(folder / "in")), open_device_output(str(folder / "out"))
    ends = [os.open(folder / name, os.O_RDWR | os.O_NONBLOCK) for name in ("in", "out")]

    def pull() -> None:
        for name in ("in", "out"):
            (folder / name).unlink()

    yield Line(source, output, _written(ends[0]), _read(ends[1]), pull, carries=65535)
    for end in ends:
        os.close(end)


@contextmanager
def terminal(folder: Path) -> Iterator[Line]:
    """A pseudo-terminal holds 4 KB each way and has no speed of its own."""
    pairs = [pty.openpty() for _ in range(2)]
    source, output = (
        open_device_input(os.ttyname(pairs[0][1])),
        open_device_output(os.ttyname(pairs[1][1])),
    )
    os.set_blocking(pairs[1][0], False)
    handles = {handle for pair in pairs for handle in pair}

    def pull() -> None:
        while handles:
            os.close(handles.pop())

    yield Line(source, output, _written(pairs[0][0]), _read(pairs[1][0]), pull, carries=4095)
    pull()


@pytest.mark.slow
@pytest.mark.parametrize("kind", [memory, fifo, terminal], ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_port(
    kind: Callable[[Path], AbstractContextManager[Line]], check: Callable[[Line], None], tmp_path: Path
) -> None:
    """Every kind of port passes the conformance suite."""
    with kind(tmp_path) as line:
        check(line)
        line.input.close()
        line.output.close()


def test_opening_and_closing_leaks_nothing(tmp_path: Path) -> None:
    """After a hundred rounds there are as many descriptors as before."""
    os.mkfifo(tmp_path / "line")
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(100):
        for port in (open_device_input(str(tmp_path / "line")), open_device_output(str(tmp_path / "line"))):
            port.close()
    assert len(os.listdir("/proc/self/fd")) == before


@pytest.mark.parametrize(
    ("make", "error"),
    [
        (lambda path: None, "there is no such device"),
        (lambda path: path.write_bytes(b""), "is not a byte device"),
        (lambda path: path.mkdir(), "is not a byte device"),
    ],
    ids=["missing", "file", "folder"],
)
def test_what_is_not_a_device_is_reported(tmp_path: Path, make: Callable[[Path], object], error: str) -> None:
    """A missing device, a plain file and a folder each give one sentence with the path."""
    path = tmp_path / "thing"
    make(path)
    for attempt in (open_device_input, open_device_output):
        with pytest.raises(PortError, match=f"{path}.*{error}"):
            attempt(str(path))


def test_a_device_that_vanishes_says_so() -> None:
    """When the far side of a serial line goes, poll and send report that it is gone."""
    far, near = pty.openpty()
    source, output = open_device_input(os.ttyname(near)), open_device_output(os.ttyname(near))
    os.close(near)
    os.close(far)
    with pytest.raises(PortError, match="is gone"):
        source.poll()
    errors: list[str] = []
    while not errors:  # the writer finds out at its first attempt
        try:
            output.send(b"\xfe")
        except PortError as fault:
            errors.append(str(fault))
        time.sleep(0.01)  # each attempt is one more byte for a reader that is gone
    assert "is gone" in errors[0]
    source.close()
    output.close()
