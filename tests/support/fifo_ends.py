"""The far ends of byte devices that are FIFOs: what is put into one, and what comes out of another, with times."""

import contextlib
import os
import select
import threading
import time
from collections.abc import Callable
from pathlib import Path

from engine.midi.byte_stream import StreamParser
from tests.support.waiting import until


class Player:
    """Writes into a FIFO. It keeps the FIFO open for writing, so that the engine never reads an end of file."""

    def __init__(self, fifo: Path) -> None:
        os.mkfifo(fifo)
        self._end = os.open(fifo, os.O_RDWR)

    def play(self, *messages: str) -> None:
        """Messages in hexadecimal."""
        for message in messages:
            os.write(self._end, bytes.fromhex(message))

    def close(self) -> None:
        os.close(self._end)


class Listener:
    """Reads from a FIFO in a thread of its own; `heard` grows by (seconds of the monotonic clock, hexadecimal)."""

    def __init__(self, fifo: Path) -> None:
        os.mkfifo(fifo)
        self.heard: list[tuple[float, str]] = []
        self._end = os.open(fifo, os.O_RDWR | os.O_NONBLOCK)  # so that the engine always finds a reader
        self._deaf = threading.Event()
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()

    def messages(self, since: int = 0) -> list[str]:
        """What arrived, from an index of `heard` on."""
        return [message for _, message in self.heard[since:]]

    def when(self, begins: str, since: int = 0) -> float:
        """The time of the first message, from an index of `heard` on, that starts like this; 0 if there is none."""
        return next((at for at, message in self.heard[since:] if message.startswith(begins)), 0.0)

    def has(self, many: int) -> bool:
        """Whether at least this many messages have arrived."""
        return len(self.heard) >= many

    def close(self) -> None:
        self._deaf.set()
        self._thread.join()
        os.close(self._end)

    def _listen(self) -> None:
        parser = StreamParser()
        while not self._deaf.is_set():
            if select.select([self._end], [], [], 0.05)[0]:
                data = os.read(self._end, 65536)
                now = time.monotonic()
                self.heard += [(now, message.hex(" ").upper()) for message in parser.feed(data)]


def read_until(handle: int, ends: bytes) -> bytes:
    """All that comes out of a FIFO (opened without blocking), until it ends with these bytes."""
    return _read(handle, ends, lambda data: data.endswith(ends))


def read_past(handle: int, part: bytes) -> bytes:
    """All that comes out of a FIFO (opened without blocking), until these bytes are among it."""
    return _read(handle, part, lambda data: part in data)


def _read(handle: int, wanted: bytes, enough: Callable[[bytes], bool]) -> bytes:
    data = b""

    def ended() -> bool:
        nonlocal data
        with contextlib.suppress(BlockingIOError):
            data += os.read(handle, 4096)
        return enough(data)

    try:
        until(f"{wanted.hex(' ')} on the cable", ended)
    except AssertionError as late:
        late.add_note(f"what came instead: {data.hex(' ') or 'nothing'}")
        raise
    return data
