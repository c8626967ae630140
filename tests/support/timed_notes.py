"""Plays notes into one FIFO at an even rate, and measures when each comes out of another: a process of its own.

    python -m tests.support.timed_notes INTO OUT_OF SECONDS

Prints one JSON object: "delays", in µs from writing a message to reading it, in the order of the answers; "lost" and
"strangers", how many messages never came out, and which came (in hexadecimal) that were not played. Keys and velocities
number the notes. It runs with real-time priority where that is allowed, so that what it measures is the engine.
"""

import contextlib
import json
import os
import select
import sys
import time
from typing import Final, NamedTuple

from engine.midi.byte_stream import StreamParser

APART: Final = 0.002  # seconds between messages: a press and its release take turns
_LAST: Final = 5.0  # seconds that the last message may take


class TimedNotes(NamedTuple):
    """What came of a performance; see the module."""

    delays: list[float]
    lost: int
    strangers: list[str]

    def at(self, part: float) -> float:
        """The delay (µs) that this part of all messages did not exceed."""
        return sorted(self.delays)[min(len(self.delays) - 1, int(part * len(self.delays)))]


def messages(count: int) -> list[bytes]:
    """Presses and releases, no two of which are the same within 16,000 notes."""
    made = []
    for note in range(count // 2):
        key, velocity = note % 127, 1 + note // 127 % 127
        made += [bytes((0x90, key, velocity)), bytes((0x80, key, velocity))]
    return made


def play(into: int, out_of: int, seconds: float) -> TimedNotes:
    """Play for this long on two open FIFOs; `out_of` was opened without blocking."""
    waiting: dict[bytes, float] = {}
    delays: list[float] = []
    strangers: list[str] = []
    parser = StreamParser()
    played = iter(messages(int(seconds / APART)))
    due = time.monotonic()
    end = None
    while end is None or (waiting and time.monotonic() < end):
        if select.select([out_of], [], [], max(0.0, due - time.monotonic()))[0]:
            data, now = os.read(out_of, 65536), time.monotonic()
            for message in parser.feed(data):
                at = waiting.pop(message, None)
                if at is None:
                    strangers.append(message.hex(" "))
                else:
                    delays.append(1e6 * (now - at))
        if time.monotonic() >= due:
            message = next(played, b"")
            due = time.monotonic() + APART
            if message:
                waiting[message] = time.monotonic()
                os.write(into, message)
            elif end is None:
                end = time.monotonic() + _LAST
    return TimedNotes(delays, len(waiting), strangers)


if __name__ == "__main__":
    with contextlib.suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(20))
    found = play(os.open(sys.argv[1], os.O_RDWR), os.open(sys.argv[2], os.O_RDWR | os.O_NONBLOCK), float(sys.argv[3]))
    print(json.dumps(found._asdict()))
