"""Ports on byte devices: a serial UART, a raw MIDI device node, a FIFO.

The bytes are MIDI as on a cable. A terminal is set to 31,250 baud, eight bits, no parity (MIDI 1.0 p. 1).
"""

import errno
import os
import select
import stat
import struct
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Final

from engine.midi.byte_stream import StreamParser
from engine.midi.kinds import FIRST_REAL_TIME, is_whole
from engine.ports.device_identity import DeviceIdentity
from engine.ports.port import DriverFlow, PortError

_BAUD: Final = 31_250
_PIECE: Final = 256  # bytes read at a time: a device without a speed of its own may not keep the reader to itself
_PIECE_OUT: Final = 256  # bytes written at a time, so that real-time bytes can pass
_MOST_WAITING: Final = 1 << 18  # bytes that may wait for the device
_URGENT: Final = 64  # messages behind which a real-time byte may still wait: a long SysEx does not shut it out
_LOOK_AGAIN: Final = 0.05  # seconds between the writer's looks at whether the port was closed, while nothing is taken
_MOMENT: Final = 0.5  # seconds after the last byte that was taken, in which the device of a closed port may take more
_OPEN_SYSEX: Final = 5_000_000_000  # ns without a byte after which an unfinished SysEx is abandoned

# A UART or raw device drains at the cable's speed out of a kernel buffer of 4 KB; a FIFO holds 64 KB and drains as
# fast as its reader reads.
_SLOW: Final = DriverFlow(ahead=2048, per_second=3125)
_FIFO: Final = DriverFlow(ahead=32768, per_second=1_000_000)


class DeviceInput:
    """An InputPort on a byte device."""

    def __init__(self, path: str, handle: int) -> None:
        self.name = path
        self._handle: int | None = handle
        self._identity = DeviceIdentity(path, handle)
        self.stream = StreamParser()
        self._heard_at = 0

    @property
    def descriptors(self) -> tuple[int, ...]:
        """See WatchableInput."""
        return () if self._handle is None else (self._handle,)

    def poll(self) -> list[bytes]:
        """See InputPort."""
        if self._handle is None:
            return []
        now = time.monotonic_ns()
        try:
            data = os.read(self._handle, _PIECE)
        except BlockingIOError:
            if self.stream.open and now - self._heard_at > _OPEN_SYSEX:
                self.stream.abandon()
            self._identity.check(now)
            return []
        except OSError as fault:
            raise self._identity.lost(fault.strerror) from None
        if not data:  # a terminal that was unplugged ends; a FIFO that is open both ways never does
            raise self._identity.lost("end of input")
        self._heard_at = now
        return self.stream.feed(data)

    def close(self) -> None:
        """See InputPort."""
        handle, self._handle = self._handle, None
        if handle is not None:
            os.close(handle)


class DeviceOutput:
    """An OutputPort on a byte device. A thread writes what the kernel does not take at once, as the device takes it."""

    longest: int | None = None

    def __init__(self, path: str, handle: int, flow: DriverFlow) -> None:
        self.name = path
        self.flow: DriverFlow | None = flow
        self._handle = handle
        self._identity = DeviceIdentity(path, handle)
        self._waiting: deque[bytes] = deque()
        self._size = 0  # bytes handed over and not yet written
        self._closed = False
        self._end = 0.0  # monotonic seconds after which a closed port writes no more
        self._went_at = time.monotonic()  # when the device last took something
        self._news = threading.Condition()
        self._writer = threading.Thread(target=self._run, name=f"bayleaf-{path}", daemon=True)
        self._writer.start()

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        if not is_whole(message):
            raise PortError(f"{self.name}: {message[:8].hex(' ').upper()} is not a whole MIDI message")
        with self._news:
            if self._closed:
                raise PortError(f"{self.name} is closed")
            self._identity.check(time.monotonic_ns())
            fits = not self._size or self._size + len(message) <= _MOST_WAITING
            if not fits and (message[0] < FIRST_REAL_TIME or len(self._waiting) >= _URGENT):
                raise PortError(f"{self.name} is full: the device does not take what it was sent")
            rest = message if self._size else self._write_now(message)
            if rest:
                self._waiting.append(rest)
                self._size += len(rest)
                self._news.notify()

    def check(self) -> None:
        """See OutputPort."""
        with self._news:
            if not self._closed:
                self._identity.check(time.monotonic_ns())

    def close(self) -> None:
        """See OutputPort. What was sent before gets a moment to leave, if the device is there and takes anything."""
        with self._news:
            if self._closed:
                return
            # before the next line: the writer looks without the lock
            self._end = 0.0 if self._identity.gone else self._went_at + _MOMENT
            self._closed = True
            self._news.notify()
        self._writer.join()
        os.close(self._handle)

    def _write_now(self, message: bytes) -> bytes:
        """What the kernel did not take."""
        try:
            rest = message[os.write(self._handle, message) :]
            self._went_at = time.monotonic()
            return rest
        except BlockingIOError:
            return message
        except OSError as fault:
            raise self._identity.lost(fault.strerror) from None

    def _run(self) -> None:  # writer thread
        while (data := self._next()) is not None:
            try:
                if not self._write(data):
                    return
            except OSError as fault:
                with self._news:
                    self._identity.lost(fault.strerror)
                return

    def _next(self) -> bytes | None:
        with self._news:
            while not self._waiting:
                if self._closed:
                    return None
                self._news.wait()
            return self._waiting.popleft()

    def _write(self, data: bytes) -> bool:
        """Write all of it; False if the port was closed and its moment is over."""
        rest, urgent = memoryview(data), b""  # a view: copies of a long SysEx would take the time of its square
        while rest or urgent:
            if self._closed and time.monotonic() > self._end:
                return False
            if not select.select([], [self._handle], [], _LOOK_AGAIN)[1]:
                continue
            try:
                written = os.write(self._handle, urgent or rest[:_PIECE_OUT])
            except BlockingIOError:
                continue
            if urgent:
                urgent = urgent[written:]
            else:
                rest = rest[written:]
            with self._news:
                self._size -= written
                self._went_at = time.monotonic()
                # real-time bytes may stand between any two bytes of a SysEx (MIDI 1.0 Table VII note 2)
                while rest and self._waiting and self._waiting[0][0] >= FIRST_REAL_TIME:
                    urgent += self._waiting.popleft()
        return True


def open_device_input(path: str) -> DeviceInput:
    """Open a byte device to receive from. Raises PortError."""
    # a FIFO is opened both ways, so that it does not end when its writer goes away
    return DeviceInput(path, _open(path, lambda kind: os.O_RDWR if stat.S_ISFIFO(kind) else os.O_RDONLY))


def open_device_output(path: str) -> DeviceOutput:
    """Open a byte device to send to. Raises PortError."""
    # a FIFO is opened both ways, so that it can be opened before its reader
    handle = _open(path, lambda kind: os.O_RDWR if stat.S_ISFIFO(kind) else os.O_WRONLY)
    return DeviceOutput(path, handle, _FIFO if stat.S_ISFIFO(os.fstat(handle).st_mode) else _SLOW)


def _open(path: str, mode: Callable[[int], int]) -> int:
    try:
        kind = os.stat(path).st_mode
        if not (stat.S_ISFIFO(kind) or stat.S_ISCHR(kind)):
            raise PortError(f"{path} is not a byte device; name a serial port, a raw MIDI device or a FIFO")
        handle = os.open(path, mode(kind) | os.O_NONBLOCK | os.O_NOCTTY)
    except OSError as fault:
        raise PortError(f"{path} cannot be opened: {_why(fault)}") from None
    except ValueError as fault:  # such as a NUL byte in the path
        raise PortError(f"{path!a} cannot be opened: {fault}") from None
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
        errno.EACCES: "you do not have permission to use it; join its group (often dialout or audio)",
        errno.EBUSY: "it is in use by another program",
    }
    return reasons.get(fault.errno or 0, fault.strerror or str(fault))


def _set_line(path: str, handle: int) -> None:
    """Raw bytes at the speed of a MIDI cable: eight bits, no parity, one stop bit, no handshake."""
    import termios

    try:
        _, _, _, _, _, _, signs = termios.tcgetattr(handle)
        signs[termios.VMIN], signs[termios.VTIME] = 1, 0
        # a cable that is pulled sends breaks and broken bytes, which the driver is to leave out
        line = [termios.IGNBRK | termios.IGNPAR, 0, termios.CS8 | termios.CREAD | termios.CLOCAL, 0]
        speed = termios.B38400 if sys.platform == "linux" else _BAUD
        termios.tcsetattr(handle, termios.TCSANOW, [*line, speed, speed, signs])
        if sys.platform == "linux":
            _set_baud(handle)
    except (termios.error, OSError) as fault:
        raise PortError(f"{path} cannot be set to {_BAUD} baud ({fault})") from None


def _set_baud(handle: int) -> None:
    """Set a speed that has no constant of its own, through Linux's termios2 (asm-generic/termbits.h)."""
    import fcntl

    get, put, other, speed_bits = 0x802C542A, 0x402C542B, 0o010000, 0o010017
    layout = "4I B 19s 2I"  # input, output, control, local flags; line; control characters; input and output speed
    settings = bytearray(struct.calcsize(layout))
    fcntl.ioctl(handle, get, settings)
    iflag, oflag, cflag, lflag, line, signs, _, _ = struct.unpack(layout, settings)
    cflag = cflag & ~speed_bits | other
    fcntl.ioctl(handle, put, struct.pack(layout, iflag, oflag, cflag, lflag, line, signs, _BAUD, _BAUD))
    fcntl.ioctl(handle, get, settings)
    got = struct.unpack(layout, settings)[-1]
    if abs(got - _BAUD) > _BAUD // 100:  # MIDI 1.0 p. 1: 31.25 kbaud, one per cent either way
        raise OSError(f"the nearest speed that it has is {got}")
