"""The log of faults of Bayleaf itself: each with its traceback, the time and what was being done.

A fault costs the message or request it struck, not the show, so its traceback would be lost; here it is kept for a
report. Any thread may call `record` in the middle of the music: a thread of the log's own formats and writes, and
`record` never waits for the disk.
"""

import contextlib
import logging
import re
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from logging.handlers import RotatingFileHandler
from pathlib import Path
from queue import SimpleQueue
from typing import Any, Final, NamedTuple

import platformdirs

from engine.plurals import times
from engine.processor import any_of_them

_APP: Final = "bayleaf"
_LARGEST: Final = 1_000_000  # bytes of the file; the one before it is kept as well
_AGAIN: Final = 60.0  # seconds in which the same fault is counted, not written again
_END_WITHIN: Final = 2.0  # seconds that the end of a process waits for the disk

_FORMAT: Final = logging.Formatter("%(asctime)s while %(message)s")


def log_file(process: str) -> Path:
    """Where the process of this name logs its faults: one process a file."""
    return Path(platformdirs.user_state_dir(_APP)) / f"{re.sub(r'[^A-Za-z0-9_-]', '_', process)}.log"


def panel_log_file(engine: str) -> Path:
    """Where the front panel of the engine of this name logs its faults."""
    return log_file(f"{engine}-panel")


class _Key(NamedTuple):
    """What makes two faults the same: the kind, and the line that raised it."""

    kind: type[BaseException]
    file: str
    line: int


@dataclass
class _Seen:
    """A fault that was written, by monotonic time (s), and how often it came again since."""

    written_at: float
    again: int = 0


class _Writer(RotatingFileHandler):
    """A log file of bounded size that says by `error` why it could not be written, rather than on the terminal."""

    error: str | None = None

    def emit(self, record: logging.LogRecord) -> None:
        self.error = None
        super().emit(record)

    def handleError(self, record: logging.LogRecord) -> None:
        fault = sys.exc_info()[1]
        self.error = getattr(fault, "strerror", None) or repr(fault)


class FaultLog:
    """Counts faults, and writes them while it is kept in a file. One for each process: `faults`."""

    def __init__(self) -> None:
        self.file: Path | None = None  # the one that faults are kept in, or were last
        self.count = 0
        self._seen: dict[_Key, _Seen] = {}
        self._lock = threading.Lock()  # never held while anything is written
        self._records: SimpleQueue[logging.LogRecord | None] | None = None
        self._writer: _Writer | None = None

    @contextlib.contextmanager
    def kept_in(self, file: Path) -> Iterator[None]:
        """For as long as the block lasts, faults are written to this file; its folder is made if need be."""
        with contextlib.suppress(OSError):  # the first fault will say so
            file.parent.mkdir(parents=True, exist_ok=True)
        writer = _Writer(
            file, maxBytes=_LARGEST, backupCount=1, encoding="utf-8", delay=True, errors="backslashreplace"
        )
        writer.setFormatter(_FORMAT)
        records: SimpleQueue[logging.LogRecord | None] = SimpleQueue()
        thread = threading.Thread(target=_write, args=(records, writer), name="bayleaf-faults", daemon=True)
        thread.start()
        self.file, self.count, self._seen = file, 0, {}
        self._records, self._writer = records, writer
        try:
            yield
        finally:
            self._records = None
            with self._lock:
                repeated = [(key, seen) for key, seen in self._seen.items() if seen.again]
            for key, seen in repeated:
                records.put(_line(f"ending: {key.kind.__name__} came {times(seen.again)} more", None))
            records.put(None)
            thread.join(_END_WITHIN)

    def record(self, doing: str, fault: BaseException) -> str:  # any thread
        """Count and write down what `doing` (as in "reading keys") was struck by; a sentence for the player."""
        key, now = _key(fault), time.monotonic()
        with self._lock:
            self.count += 1
            seen = self._seen.get(key)
            fresh = seen is None or now - seen.written_at >= _AGAIN
            again = seen.again if seen is not None else 0
            if fresh:
                self._seen[key] = _Seen(now)
            elif seen is not None:
                seen.again += 1
        if fresh and (records := self._records) is not None:
            more = f" ({times(again)} more since it was last written)" if again else ""
            records.put(_line(f"{doing}: {fault!r}{more}", fault))
        return f"a fault of Bayleaf itself: {fault!r}{self.details}"

    @property
    def details(self) -> str:
        """Where there is more, to be put behind a sentence; empty if faults are not kept."""
        return f"; details in {self.file}" if self._records is not None else ""

    def status(self) -> dict[str, Any]:
        """File, number of faults since the start of the process, and why the file cannot be written, if so."""
        file = str(self.file) if self._records is not None else None
        return {"file": file, "faults": self.count, "error": self._writer.error if self._writer is not None else None}


def _line(text: str, fault: BaseException | None) -> logging.LogRecord:
    trace = None if fault is None else (type(fault), fault, fault.__traceback__)
    return logging.LogRecord(_APP, logging.ERROR, "", 0, text, None, trace)


def _key(fault: BaseException) -> _Key:
    trace = fault.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    file, line = ("", 0) if trace is None else (trace.tb_frame.f_code.co_filename, trace.tb_lineno)
    return _Key(type(fault), file, line)


def _write(records: SimpleQueue[logging.LogRecord | None], writer: _Writer) -> None:
    any_of_them()
    while (record := records.get()) is not None:
        writer.handle(record)
    writer.close()


#: those of this process
faults: Final = FaultLog()
