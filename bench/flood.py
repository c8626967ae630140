"""How much a flood on one input delays the messages of the others.

    python -m bench.flood [--seconds 5] [--rounds 5] [--rate 1041] [--jack]

Input 1 plays 30,000 messages per second, notes and controllers, into a DIN cable and a fast output: a broken device.
The others play `--rate` messages per second each. Turns with the flood and turns without it alternate in one run, and
only the others are measured: the latency from reader to driver, and the time between two polls of an input, in which a
message waits unseen. Medians of the turns, and what was shed. Without --jack the ports are in memory; with it the
players are other processes on the JACK server that is running.
"""

import argparse
import platform
import statistics
import subprocess
import sys
import time
from array import array
from typing import Any, Final

import trio

from bench.desk import Choosy, Player
from bench.jackports import JackPorts, feeder
from bench.load import INPUTS, OUTPUTS, RATE, WARM, Samples, Swallowing, messages, percentiles, rig
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.port import InputStream

FLOOD: Final = 30_000  # messages per second
BROKEN: Final = 0  # the input that floods
DIN: Final = (0,)
SETTLE: Final = 1.5  # seconds at the beginning of a turn that do not count
BOUND: Final = 3_000  # µs at p99.9 beside the flood: three messages on a DIN cable (MIDI 1.0 p. 1)


class Looks:
    """An input that notes when it is polled."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self.name = port.name
        self.gaps = array("q")
        self._at = time.monotonic_ns()

    @property
    def stream(self) -> InputStream:
        """See InputPort."""
        stream: InputStream = self._port.stream
        return stream

    def poll(self) -> list[bytes]:
        """See InputPort."""
        now = time.monotonic_ns()
        self.gaps.append(now - self._at)
        self._at = now
        found: list[bytes] = self._port.poll()
        return found

    def close(self) -> None:
        """See InputPort."""
        self._port.close()


class Memory:
    """Players inside the process."""

    def __init__(self, rate: int) -> None:
        self.inputs = [Player(f"in {i}", messages(i, WARM)) for i in range(INPUTS)]
        self.outputs = [Swallowing(i) for i in range(OUTPUTS)]
        self._rate = rate
        for player in self.inputs:
            player.rate = rate

    def flood(self, seconds: float | None) -> None:
        """Start a flood of this many seconds, or end it."""
        self.inputs[BROKEN].rate = FLOOD if seconds else self._rate

    def close(self) -> None:
        """There is nothing to release."""


class Jack(JackPorts):
    """Players in two other processes."""

    def __init__(self, rate: int, seconds: float) -> None:
        super().__init__(WARM, rate)
        self._feeder = feeder(seconds, WARM, rate)
        self._flood: subprocess.Popen[str] | None = None

    def flood(self, seconds: float | None) -> None:
        """Start a flood of this many seconds, or end it."""
        if self._flood is not None:
            self._flood.terminate()
            self._flood.wait()
            self._flood = None
        if seconds:
            self._flood = feeder(seconds, WARM, FLOOD, BROKEN)

    def close(self) -> None:
        """End the players."""
        self.flood(None)
        super().close()


async def play(ports: Any, rounds: int, seconds: float) -> dict[str, list[dict[str, float]]]:
    """All turns; figures in µs."""
    inputs = [Looks(port) for port in ports.inputs]
    inbox = InputReader(dict(enumerate(inputs)))
    patch = OpenPorts(
        {f"in{i}": port for i, port in enumerate(inputs)}, {f"out{i}": p for i, p in enumerate(ports.outputs)}
    )
    show, samples = Show(rig(DIN), patch, inbox), Samples()
    Choosy(show, samples.add).leave_out(BROKEN)
    show.apply(RecallScene(1), "shell")
    turns: dict[str, list[dict[str, float]]] = {"alone": [], "beside the flood": []}
    with collector_at_rest():
        inbox.start(waker(show))
        for _ in range(rounds):
            for name, listed in turns.items():
                await trio.to_thread.run_sync(ports.flood, None if name == "alone" else seconds + SETTLE + 5)
                await trio.sleep(SETTLE)
                listed.append(await turn(show, inputs, samples, seconds))
        await trio.to_thread.run_sync(ports.flood, None)
        inbox.stop()
    print(f"shed of what input 1 sent: {inbox.shed(BROKEN):,}; of what the others sent: ", end="")
    print(f"{sum(inbox.shed(source) for source in range(INPUTS) if source != BROKEN):,}; ", end="")
    state = show.engine.state
    print(f"on the DIN cable: {state.cables[DIN[0]].counts.shed:,}; muted: {len(state.loops.muted)}")
    return turns


async def turn(show: Show, inputs: list[Looks], samples: Samples, seconds: float) -> dict[str, float]:
    """One turn's figures."""
    for look in inputs:
        del look.gaps[:]
    del samples.all[:]
    heard, cpu = [meter.messages for meter in show.ports.in_meters], time.process_time()
    begin = time.monotonic()
    await trio.sleep(seconds)
    took = time.monotonic() - begin
    cpu = time.process_time() - cpu
    count = [meter.messages - before for meter, before in zip(show.ports.in_meters, heard, strict=True)]
    gaps, times = sorted(inputs[1].gaps), sorted(samples.all)  # in this order: the reader waits for a long sort
    found = percentiles(times)
    found["look p99"] = gaps[len(gaps) * 99 // 100] / 1000
    found["look worst"] = gaps[-1] / 1000
    found["cpu"] = 100 * cpu / took
    found["of 1 /s"] = count[BROKEN] / took
    found["of others /s"] = (sum(count) - count[BROKEN]) / took
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--rate", type=int, default=RATE)
    parser.add_argument("--jack", action="store_true")
    options = parser.parse_args()
    whole = options.rounds * 2 * (options.seconds + SETTLE + 3)
    ports: Any = Jack(options.rate, whole) if options.jack else Memory(options.rate)
    where = "JACK" if options.jack else "memory"
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {where} ports, "
        f"others at {options.rate} per second, "
    )
    print(f"medians of {options.rounds} turns of {options.seconds:.0f} s; µs, CPU in % of a core")
    try:
        turns = music_loop.run(play, ports, options.rounds, options.seconds)
    finally:
        ports.close()
    if table(turns)["beside the flood"][2] > BOUND:
        sys.exit(f"the others' p99.9 beside the flood is above {BOUND:,} µs")


def table(turns: dict[str, list[dict[str, float]]]) -> dict[str, list[float]]:
    """Print the medians of both kinds of turn, and their ratios; the medians."""
    names = list(turns["alone"][0])
    medians = {
        what: [statistics.median(turn[name] for turn in listed) for name in names] for what, listed in turns.items()
    }
    print("| | " + " | ".join(names) + " |\n|---" + "|---" * len(names) + "|")
    for what, row in medians.items():
        print(f"| {what} | " + " | ".join(f"{figure:,.0f}" for figure in row) + " |")
    ratios = (f"{after / before:.2f}" for before, after in zip(*medians.values(), strict=True))
    print("| ratio | " + " | ".join(ratios) + " |")
    return medians


if __name__ == "__main__":
    main()
