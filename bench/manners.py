"""What each system setting of the engine is worth: on and off in one run, alone and beside busy programs.

    python -m bench.manners [--seconds 4] [--rounds 3] [--jack] [--busy 2]

The load of `load.py`. `all` is what `bayleaf run` does where allowed: real-time scheduling, Python's collector
paused, threads that yield quickly. The others lack one of them, or (`locked`) lock all memory as well.
`--busy` starts this many programs that only compute, at ordinary priority.
"""

import argparse
import ctypes
import gc
import statistics
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from functools import partial
from typing import Final

from bench.forward import BAYLEAF, one_turn
from bench.jackports import JackPorts
from bench.load import RATE, WARM, MemoryPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import going_first, undisturbed

ALL: Final = 3  # MCL_CURRENT | MCL_FUTURE, mlockall(2)
Manners = Callable[[], ExitStack]


@contextmanager
def collector_at_work() -> Iterator[None]:
    with collector_at_rest():
        gc.unfreeze()
        gc.enable()
        yield


@contextmanager
def threads_that_linger() -> Iterator[None]:
    with collector_at_rest():
        sys.setswitchinterval(0.005)  # Python's default
        yield


@contextmanager
def locked() -> Iterator[None]:
    system = ctypes.CDLL(None, use_errno=True)
    if system.mlockall(ALL):
        raise SystemExit("this login may not lock memory")
    try:
        yield
    finally:
        system.munlockall()


def together(*managers: Callable[[], AbstractContextManager[object]]) -> ExitStack:
    stack = ExitStack()
    for manager in managers:
        stack.enter_context(manager())
    return stack


TURNS: Final[dict[str, Manners]] = {
    "all": partial(together, undisturbed, collector_at_rest),
    "any processor": partial(together, going_first, collector_at_rest),
    "ordinary scheduling": partial(together, collector_at_rest),
    "collector at work": partial(together, undisturbed, collector_at_work),
    "threads that linger": partial(together, undisturbed, threads_that_linger),
    "locked": partial(together, undisturbed, collector_at_rest, locked),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--busy", type=int, default=0)
    parser.add_argument("--jack", action="store_true")
    options = parser.parse_args()
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(options.busy)]
    turns: dict[str, list[dict[str, float]]] = {name: [] for name in TURNS}
    try:
        for _ in range(options.rounds):
            for name, manners in TURNS.items():
                ports = JackPorts(WARM, RATE) if options.jack else MemoryPorts()
                turns[name].append(one_turn(BAYLEAF, options.seconds, ports, manners=manners))
    finally:
        for process in busy:
            process.kill()
    print(f"beside {options.busy} busy programs, median of {options.rounds} turns of {options.seconds:.0f} s; µs, %")
    columns = list(turns["all"][0])
    print("| | " + " | ".join(columns) + " |\n|---" + "|---" * len(columns) + "|")
    for name, listed in turns.items():
        row = (f"{statistics.median(turn[key] for turn in listed):,.0f}" for key in columns)
        print(f"| {name} | " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
