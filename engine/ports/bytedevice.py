"""Byte devices: a serial UART, a raw MIDI device node, a FIFO.

The bytes are MIDI as it is on the cable. A terminal is set to 31,250 baud, eight bits, no parity (MIDI 1.0 p. 1).
"""

import errno
import os
import stat
import struct
import sys
import time
from collections.abc import Callable
from typing import Final

from engine.midi.kinds import is_whole
from engine.midi.stream import Parser
from engine.ports.port import Flow, PortError

_BAUD: Final = 31_250
_PIECE: Final = 65536  # bytes read at a time
_OPEN_SYSEX: Final = 5_000_000_000  # ns without a byte after which a SysEx that has begun is given up

# A UART or raw device drains at the cable's speed out of a kernel buffer of 4 KB; a FIFO holds 64 KB and drains as
# fast as its reader reads.
_SLOW: Final = Flow(ahead=2048, per_second=3125)
_FIFO: Final = Flow(ahead=32768, per_second=1_000_000)


class DeviceInput:
    """An InputPort on a byte device."""

    def __init__(self, path: str, handle: int) -> None:
        self.name = path
        self._handle: int | None = handle
        self._parser = Parser()
        self._heard_at = 0

    def poll(self) -> list[bytes]:
        """See InputPort."""
        if self._handle is None:
            return []
        try:
            data = os.read(self._handle, _PIECE)
        except BlockingIOError:
            data = b""
        except OSError as fault:
            raise PortError(f"{self.name} is gone ({fault.strerror})") from None
        now = time.monotonic_ns()
        if data:
            self._heard_at = now
            return self._parser.feed(data)
        if self._parser.open and now - self._heard_at > _OPEN_SYSEX:
            self._parser.abandon()
        return []

    @property
    def repairs(self) -> int:
        """See InputPort."""
        return self._parser.repairs

    def close(self) -> None:
        """See InputPort."""
        handle, self._handle = self._handle, None
        if handle is not None:
            os.close(handle)


class DeviceOutput:
    """An OutputPort on a byte device. Never half a message: what the kernel did not take goes before the next one."""

    longest: int | None = None

    def __init__(self, path: str, handle: int, flow: Flow) -> None:
        self.name = path
        self.flow: Flow | None = flow
        self._handle: int | None = handle
        self._rest = b""

    def send(self, message: bytes) -> None:
        """See OutputPort."""
        if self._handle is None:
            raise PortError(f"{self.name} is closed")
        if not is_whole(message):
            raise PortError(f"{self.name}: {message[:8].hex(' ').upper()} is no whole MIDI message")
        self._rest = self._write(self._rest)
        if self._rest:
            raise PortError(f"{self.name} takes no more: nothing reads what it was sent")
        self._rest = self._write(message)
        if self._rest == message:
            self._rest = b""
            raise PortError(f"{self.name} takes no more: nothing reads what it was sent")

    def _write(self, data: bytes) -> bytes:
        """What the kernel did not take."""
        assert self._handle is not None
        if not data:
            return b""
        try:
            return data[os.write(self._handle, data) :]
        except BlockingIOError:
            return data
        except OSError as fault:
            raise PortError(f"{self.name} is gone ({fault.strerror})") from None

    def close(self) -> None:
        """See OutputPort."""
        handle, self._handle = self._handle, None
        if handle is not None:
            os.close(handle)


def open_device_input(path: str) -> DeviceInput:
    """A byte device to hear. Raises PortError."""
    # a FIFO is opened both ways, so that a writer which goes away is no end
    return DeviceInput(path, _open(path, lambda kind: os.O_RDWR if stat.S_ISFIFO(kind) else os.O_RDONLY))


def open_device_output(path: str) -> DeviceOutput:
    """A byte device to play to. Raises PortError."""
    # a FIFO is opened both ways, so that it can be opened before its reader
    handle = _open(path, lambda kind: os.O_RDWR if stat.S_ISFIFO(kind) else os.O_WRONLY)
    return DeviceOutput(path, handle, _FIFO if stat.S_ISFIFO(os.fstat(handle).st_mode) else _SLOW)


def _open(path: str, mode: Callable[[int], int]) -> int:
    try:
        kind = os.stat(path).st_mode
        if not (stat.S_ISFIFO(kind) or stat.S_ISCHR(kind)):
            raise PortError(f"{path} is no byte device; name a serial port, a raw MIDI device or a FIFO")
        handle = os.open(path, mode(kind) | os.O_NONBLOCK | os.O_NOCTTY)
    except OSError as fault:
        raise PortError(f"{path} cannot be opened: {_why(fault)}") from None
    try:
        if os.isatty(handle):
            _set_line(path, handle)
    except PortError:
        os.close(handle)
        raise
    return handle


def _why(fault: OSError) -> str:
    reasons = {
        errno.ENOENT: "there is no such device; is it plugged in?",
        errno.EACCES: "you may not use it; ask for its group (often dialout or audio)",
        errno.EBUSY: "it is in use by another program",
    }
    return reasons.get(fault.errno or 0, fault.strerror or str(fault))


def _set_line(path: str, handle: int) -> None:
    """Raw bytes at the speed of a MIDI cable."""
    import termios
    import tty

    try:
        tty.setraw(handle, termios.TCSANOW)
        if sys.platform == "linux":
            _set_baud(handle)
    except (termios.error, OSError) as fault:
        raise PortError(f"{path} cannot be set to {_BAUD} baud ({fault})") from None


def _set_baud(handle: int) -> None:
    """A speed that has no constant of its own goes through Linux's termios2 (asm-generic/termbits.h)."""
    import fcntl

    get, put, other, speed_bits = 0x802C542A, 0x402C542B, 0o010000, 0o010017
    layout = "4I B 19s 2I"  # input, output, control, local flags; line; control characters; input and output speed
    settings = bytearray(struct.calcsize(layout))
    fcntl.ioctl(handle, get, settings)
    iflag, oflag, cflag, lflag, line, signs, _, _ = struct.unpack(layout, settings)
    cflag = cflag & ~speed_bits | other
    fcntl.ioctl(handle, put, struct.pack(layout, iflag, oflag, cflag, lflag, line, signs, _BAUD, _BAUD))
