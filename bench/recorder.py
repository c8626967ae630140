"""What the flight recorder costs: one message, the memory of a full ring, a snapshot, and the show while it is written.

    python -m bench.recorder [--rounds 15] [--events 1048576]

One recorded message is compared with an empty method call and with a tuple appended to a deque of the same bound, all
in turns in one process; the figure includes packing full pieces. The lateness is that of a thread that wakes 4,000
times per second, as the reader does, alone and while a full ring is written.
"""

import argparse
import gc
import platform
import resource
import statistics
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

from engine.live.process.gc_pauses import collector_at_rest
from engine.live.recorder import SHORT, FlightRecorder
from engine.live.recording_writer import keep

CALLS: Final = 100_000
POLL: Final = 0.00025  # seconds
PORTS: Final = tuple(f"port {index}" for index in range(20))
MESSAGES: Final = [bytes((0x90 | channel, key, 64)) for channel in range(16) for key in range(128)]


class Empty:
    """The cost of a method call that does nothing."""

    def came_in(self, at: int, input_index: int, message: bytes) -> None:
        pass


class Queue:
    """A tuple appended to a deque of bounded length."""

    def __init__(self, most_events: int) -> None:
        self._entries: deque[tuple[int, int, bytes]] = deque(maxlen=most_events)

    def came_in(self, at: int, input_index: int, message: bytes) -> None:
        self._entries.append((at, input_index, message))


def message_in(recorder: FlightRecorder, at: int, input_index: int, message: bytes) -> None:
    """What the show does with each message that comes in."""
    recorder.fresh.append((at, input_index, message))
    if len(message) > SHORT or len(recorder.fresh) >= recorder.piece:
        recorder.pack(len(message))


def cost(record: Callable[[int, int, bytes], None]) -> float:
    """Nanoseconds per call, without the loop around it."""
    at = time.monotonic_ns()
    rounds = CALLS // len(MESSAGES)
    begin = time.perf_counter_ns()
    for _ in range(rounds):
        for message in MESSAGES:
            record(at, 3, message)
            at += 1000
    middle = time.perf_counter_ns()
    for _ in range(rounds):
        for _message in MESSAGES:
            at += 1000
    end = time.perf_counter_ns()
    return (middle - begin - (end - middle)) / (rounds * len(MESSAGES))


def compare(rounds: int, events: int) -> None:
    """Compare the cost of one message in three ways, in turns."""
    ways: dict[str, list[float]] = {}
    empty, queue, recorder = Empty(), Queue(events), FlightRecorder(events)
    with collector_at_rest():
        for _ in range(rounds):
            ways.setdefault("empty method call", []).append(cost(empty.came_in))
            ways.setdefault("tuple to a deque", []).append(cost(queue.came_in))
            ways.setdefault("message", []).append(cost(partial(message_in, recorder)))
    for name, samples in ways.items():
        print(f"{name:20} {statistics.median(samples):6.0f} ns  (least {min(samples):.0f}, most {max(samples):.0f})")


def full(events: int) -> FlightRecorder:
    """A ring full of different messages; prints the memory it takes."""
    gc.collect()
    before = resident()
    recorder = FlightRecorder(events)
    at = time.monotonic_ns() - events * 1_000_000
    for index in range(events):
        at += 1_000_000
        message_in(recorder, at, index % 16, bytes((0x90 | index % 16, index // 16 % 128, index // 2048 % 128)))
    size = recorder.size()
    print(
        f"{size['events']:,} messages: {size['bytes'] / 1e6:.1f} MB packed, {(resident() - before) / 1e6:.1f} MB more"
    )
    return recorder


def resident() -> int:
    """Bytes of this process in memory; only Linux gives the current figure, other systems the highest so far."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * resource.getpagesize()
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def lateness(while_it: Callable[[], bool]) -> str:
    """How late a sleeping thread wakes up, in µs."""
    late = []
    while while_it():
        asleep = time.perf_counter_ns()
        time.sleep(POLL)
        late.append((time.perf_counter_ns() - asleep) / 1000 - POLL * 1e6)
    late.sort()
    return f"p50 {late[len(late) // 2]:.0f}, p99 {late[len(late) * 99 // 100]:.0f}, worst {late[-1]:,.0f} µs"


def writing(recorder: FlightRecorder) -> None:
    """A snapshot, and the lateness of other threads while it is written."""
    begin = time.perf_counter_ns()
    kept = recorder.last(time.monotonic_ns(), 1e6)
    print(f"snapshot: {(time.perf_counter_ns() - begin) / 1000:.0f} µs")
    end = time.monotonic() + 3
    print(f"lateness alone: {lateness(lambda: time.monotonic() < end)}")
    with tempfile.TemporaryDirectory() as folder:
        for suffix in (".mid", ".jsonl"):
            file = Path(folder) / f"kept{suffix}"
            writer = threading.Thread(target=keep, args=(kept, file, PORTS, PORTS, "bench"))
            begun = time.monotonic()
            writer.start()
            said = lateness(writer.is_alive)
            megabytes = file.stat().st_size / 1e6
            print(f"lateness while {suffix} is written ({time.monotonic() - begun:.1f} s, {megabytes:.0f} MB): {said}")
    used = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    print(f"memory of the writing process at most: {used / 1e6:.0f} MB")


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--rounds", type=int, default=15)
    options.add_argument("--events", type=int, default=1 << 20)
    chosen = options.parse_args()
    print(f"{platform.platform()}, Python {platform.python_version()}, rounds {chosen.rounds}")
    recorder = full(chosen.events)  # first: reused memory would not count as growth
    compare(chosen.rounds, chosen.events)
    writing(recorder)


if __name__ == "__main__":
    main()
