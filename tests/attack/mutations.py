"""Gives mutated input of every kind to what receives it, and lists the faults that nothing caught.

    python -m tests.attack.mutations [--kind NAME …] [--count 100000] [--seed N] [--from FIRST]

The seed is printed; with it, kind and number a mutation can be made again. Each outcome is a clean answer or an error
of the class that its receiver promises; anything else is a fault, and so is a mutation that takes longer than a
minute.
"""

import argparse
import secrets
import signal
import sys
import time
import traceback
from contextlib import AbstractContextManager
from types import FrameType
from typing import Final, NamedTuple, Protocol

from tests.attack.mutated_browsers import BrowserBytes
from tests.attack.mutated_files import MidiFiles, Recordings, RigFiles, SoundLists
from tests.attack.mutated_messages import Datagrams, NetworkWords, SocketRequests, SysexBlocks
from tests.support.mutator import Mutator, Sample

_LONGEST: Final = 60  # seconds; the machine may be busy
_FRAMES: Final = 4  # of a traceback, that say which fault it is


class Receiver(Protocol):
    """One kind of input: what is valid, and what takes it. `take` raises nothing but faults."""

    def samples(self) -> list[Sample]: ...

    def taking(self) -> AbstractContextManager["Receiver"]: ...

    def take(self, sample: Sample) -> None: ...


KINDS: Final[dict[str, type[Receiver]]] = {
    "datagrams": Datagrams,
    "requests": SocketRequests,
    "browsers": BrowserBytes,
    "sysex": SysexBlocks,
    "words": NetworkWords,
    "rigs": RigFiles,
    "sounds": SoundLists,
    "songs": MidiFiles,
    "recordings": Recordings,
}


class Fault(NamedTuple):
    """The first mutation that met a fault; `times`: how many of them met it; `text`: its traceback."""

    kind: str
    number: int
    sample: Sample
    text: str
    times: int

    def __str__(self) -> str:
        head = f"{self.kind} {self.number} ({self.times} times), to {self.sample.to!r}:"
        return f"{head}\n{self.sample.data[:400]!r}\n{self.text}"


class TooLong(Exception):
    """A mutation took longer than any should."""


def trial(kind: str, count: int, seed: int, first: int = 0) -> list[Fault]:
    """Give this many mutations to the receiver of a kind; every fault that was met, once."""
    receiver = KINDS[kind]()
    mutator = Mutator(receiver.samples(), seed)
    found: dict[str, Fault] = {}
    with receiver.taking() as taking, _Limit():
        for number in range(first, first + count):
            sample = mutator.mutation(number)
            signal.alarm(_LONGEST)
            try:
                taking.take(sample)
            except Exception as fault:
                frames = traceback.extract_tb(fault.__traceback__)[-_FRAMES:]
                place = " ".join(f"{frame.filename}:{frame.lineno}" for frame in frames) + type(fault).__name__
                text = "".join(traceback.format_exception(fault)[-6:])
                one = found.get(place) or Fault(kind, number, sample, text, 0)
                found[place] = one._replace(times=one.times + 1)
    return list(found.values())


class _Limit:
    """Within it, an alarm is an error. Main thread only."""

    def __enter__(self) -> None:
        self._before = signal.signal(signal.SIGALRM, self._ring)

    def __exit__(self, *_: object) -> None:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, self._before)

    @staticmethod
    def _ring(number: int, frame: FrameType | None) -> None:
        raise TooLong(f"longer than {_LONGEST} s")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", action="append", choices=KINDS)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(1 << 32))
    parser.add_argument("--from", dest="first", type=int, default=0)
    wish = parser.parse_args()
    failed = False
    for kind in wish.kind or KINDS:
        begun = time.monotonic()
        found = trial(kind, wish.count, wish.seed, wish.first)
        lasted = time.monotonic() - begun
        print(f"{kind}: {wish.count:,} mutations, seed {wish.seed}, {lasted:.0f} s, {len(found)} faults", flush=True)
        for fault in found:
            print(fault, flush=True)
        failed |= bool(found)
    return failed


if __name__ == "__main__":
    sys.exit(main())
