"""How evenly our own clock and time code arrive at the far end of real JACK ports.

    JACK_DEFAULT_SERVER=NAME python -m bench.jitter [--seconds 20] [--rounds 3]

The contenders of `grid.py` in turns, on the server that is running. Each is measured twice, in µs off its own even
spacing: when it is handed to the driver, and when it arrives at a thread that polls every 50 µs with python-rtmidi
alone. JACK delivers once per period, so arrivals cannot be more even than that.
"""

import argparse
import threading
import time
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import rtmidi

from bench.grid import SPACING, WARM_UP, WAYS, Timed
from bench.load import PARTS, percentiles
from bench.report import print_table
from bench.result import medians
from engine.live.process.gc_pauses import collector_at_rest
from engine.ports.jack_system import JackSystem

_WANTED: Final = (0xF8, 0xF1)


class Ear(threading.Thread):
    """Polls one JACK port and notes when each clock or quarter frame arrives."""

    def __init__(self, wanted: str) -> None:
        super().__init__(daemon=True)
        self.heard: list[int] = []
        self._stop_asked = threading.Event()
        self._port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f"ear-{wanted}", queue_size_limit=8192)
        self._port.ignore_types(False, False, False)
        names = self._port.get_ports()
        self._port.open_port(next(index for index, name in enumerate(names) if wanted in name), "in")

    def run(self) -> None:
        """Poll until `end`."""
        while not self._stop_asked.is_set():
            while (event := self._port.get_message()) is not None:
                if event[0][0] in _WANTED:
                    self.heard.append(time.monotonic_ns())
            time.sleep(0.00005)

    def end(self) -> list[int]:
        """All arrival times (ns)."""
        self._stop_asked.set()
        self.join()
        self._port.delete()
        return self.heard


def off(times: Sequence[int], spacing: float) -> dict[str, float]:
    """How many µs each interval is off the spacing (ns), after the warm-up."""
    begin = times[0] + int(WARM_UP * 1e9) if times else 0
    kept = [at for at in times if at >= begin]
    return percentiles([abs((after - before) - spacing) for before, after in pairwise(kept)])


def one_turn(way: str, seconds: float) -> dict[tuple[str, str], dict[str, float]]:
    """Figures by contender and place of measurement."""
    system = JackSystem("bench")
    ports = [Timed(index, system.open_virtual_output(f"jitter{index}")) for index in range(2)]
    ears = [Ear(f":jitter{index}") for index in range(2)]
    for ear in ears:
        ear.start()
    with collector_at_rest():
        names = list(WAYS[way](seconds, *ports))
    time.sleep(0.1)
    heard = [ear.end() for ear in ears]
    for port in ports:
        port.close()
    system.close()
    found = {}
    for name, port, arrived in zip(names, ports, heard, strict=False):
        found[name, "handed over"] = off(port.handed, SPACING[name])
        found[name, "arrived"] = off(arrived, SPACING[name])
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    turns: dict[tuple[str, str], list[dict[str, float]]] = {}
    for _ in range(asked.rounds):
        for way in WAYS:
            for which, figures in one_turn(way, asked.seconds).items():
                turns.setdefault(which, []).append(figures)
    rows = [[*which, *medians(listed).values()] for which, listed in turns.items()]
    title = f"µs off an even spacing, medians of {asked.rounds} turns of {asked.seconds:g} s"
    print_table(title, ["", "where", *PARTS], rows)


if __name__ == "__main__":
    main()
