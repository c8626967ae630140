"""How evenly our own clock and time code come, at the driver's door and at the far end of real JACK ports.

    JACK_DEFAULT_SERVER=NAME python -m bench.jitter [--seconds 20] [--rounds 3] [--bpm 120]

Contenders take turns in one run: Bayleaf's clock, Bayleaf's time code (29.97 drop), and a bare loop that sleeps with
`time.sleep` until each clock is due. Each is measured twice, in µs off its own even spacing: when it is handed to the
driver, and when a second process's worth of polling (every 50 µs, python-rtmidi alone) sees it arrive. JACK hands on
once a period, so that nothing that arrives can be more even than that.
"""

import argparse
import statistics
import threading
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any, Final

import rtmidi
import trio

from engine.live.hygiene import collector_at_rest
from engine.live.inbox import Inbox
from engine.live.patch import Patch
from engine.live.show import Show
from engine.ports.jacksystem import JackSystem
from engine.rig.load import read

WARM_UP: Final = 2.0  # seconds that do not count
CLOCK: Final = "clock"
CODE: Final = "time code"
BARE: Final = "bare sleep loop"
CONTENDERS: Final = (CLOCK, CODE, BARE)

RIG: Final = """
format = 1
[outputs]
out = {{ port = "unused" }}
{sync}
[[scenes]]
number = 1
name = "Only"
"""
SYNC: Final = {
    CLOCK: '[sync.clock]\nbpm = {bpm}\nto = ["out"]\nrun = true',
    CODE: '[sync.timecode]\nrate = "29.97 drop"\nto = ["out"]\nrun = true',
}


class Timed:
    """An output that notes when each one-byte clock or quarter frame is handed over."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self.flow, self.longest, self.name = port.flow, port.longest, port.name
        self.check, self.close = port.check, port.close
        self.handed: list[int] = []

    def send(self, message: bytes) -> None:
        if message[0] in (0xF8, 0xF1):
            self.handed.append(time.monotonic_ns())
        self._port.send(message)


class Ear(threading.Thread):
    """Polls one JACK port and notes when each clock or quarter frame arrives."""

    def __init__(self, wanted: str) -> None:
        super().__init__(daemon=True)
        self.heard: list[int] = []
        self._stop_asked = threading.Event()
        self._port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="jitter-ear", queue_size_limit=8192)
        self._port.ignore_types(False, False, False)
        names = self._port.get_ports()
        self._port.open_port(next(index for index, name in enumerate(names) if wanted in name), "in")

    def run(self) -> None:
        while not self._stop_asked.is_set():
            while (event := self._port.get_message()) is not None:
                if event[0][0] in (0xF8, 0xF1):
                    self.heard.append(time.monotonic_ns())
            time.sleep(0.00005)

    def end(self) -> list[int]:
        self._stop_asked.set()
        self.join()
        self._port.delete()
        return self.heard


def off(times: list[int], spacing: float) -> list[float]:
    """Microseconds that each interval is off the spacing (ns), after the warm-up, smallest first."""
    begin = times[0] + int(WARM_UP * 1e9) if times else 0
    kept = [at for at in times if at >= begin]
    return sorted(abs((after - before) - spacing) / 1000 for before, after in pairwise(kept))


def bayleaf(port: Timed, name: str, bpm: float, seconds: float) -> None:
    """The show as `bayleaf run` runs it, with no input but its own time."""
    loaded = read(RIG.format(sync=SYNC[name].format(bpm=bpm)), "bench")

    async def play() -> None:
        inbox = Inbox({})
        show = Show(loaded, Patch({}, {"out": port}), inbox)
        show.command("scene", 1)
        token = trio.lowlevel.current_trio_token()
        with collector_at_rest():
            show.begin()
            inbox.start(lambda: token.run_sync_soon(show.pump, idempotent=True))
            await trio.sleep(seconds + WARM_UP)
            inbox.stop()

    trio.run(play)


def bare(port: Timed, bpm: float, seconds: float) -> None:
    """Nothing but a loop that sleeps until the next clock is due."""
    begin, number, spacing = time.monotonic(), 0, 60 / (24 * bpm)
    while time.monotonic() < begin + seconds + WARM_UP:
        number += 1
        time.sleep(max(0.0, begin + number * spacing - time.monotonic()))
        port.send(b"\xf8")


def one_turn(name: str, bpm: float, seconds: float) -> dict[str, list[float]]:
    system = JackSystem("bench")
    port = Timed(system.open_virtual_output("jitter"))
    ear = Ear("jitter")
    ear.start()
    try:
        run: Callable[[], None] = (
            (lambda: bare(port, bpm, seconds)) if name == BARE else (lambda: bayleaf(port, name, bpm, seconds))
        )
        run()
        time.sleep(0.1)
    finally:
        heard = ear.end()
        port.close()
        system.close()
    spacing = 1001 / 30000 / 4 * 1e9 if name == CODE else 60e9 / (24 * bpm)
    return {"handed over": off(port.handed, spacing), "arrived": off(heard, spacing)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--bpm", type=float, default=120)
    asked = parser.parse_args()
    rows: dict[tuple[str, str], list[list[float]]] = {}
    for _ in range(asked.rounds):
        for name in CONTENDERS:
            for where, samples in one_turn(name, asked.bpm, asked.seconds).items():
                rows.setdefault((name, where), []).append(samples)
    print(f"µs off an even spacing, medians of {asked.rounds} turns of {asked.seconds:g} s")
    print(f"{'':18} {'where':12} {'p50':>8} {'p99':>8} {'p99.9':>8} {'worst':>8}")
    for (name, where), turns in rows.items():
        figures = [
            statistics.median(samples[min(len(samples) - 1, int(len(samples) * part))] for samples in turns if samples)
            for part in (0.5, 0.99, 0.999, 1.0)
        ]
        print(f"{name:18} {where:12} " + " ".join(f"{figure:8.0f}" for figure in figures))


if __name__ == "__main__":
    main()
