"""How many machines one engine can serve, and what is full first: on paper, and in a simulation.

    python bench/machines.py [--machines 2 8 32] [--seconds 2]

Every machine lends 16 inputs and 20 outputs, and every input plays a full DIN cable (1,041 messages of three bytes a
second) to an output of the machine after it, four of the sixteen to one more: all of it crosses the network twice.
What a pack, an event and a put cost is measured first, in this run, on this machine (`netcosts.py`). On paper, each
resource's work a second is added up; the simulation lets packs queue for the engine's core and for its network port,
turn by turn, and tells how long an event takes from the input's reader to the owner of its output.
"""

import argparse
import heapq
import random
from array import array
from collections import deque
from dataclasses import dataclass
from typing import Final, NamedTuple

from netcosts import Costs, measured
from rich.console import Console
from rich.table import Table

INPUTS: Final = 16
OUTPUTS: Final = 20
RATE: Final = 1041  # messages a second of an input: a full DIN cable
TURN: Final = 0.00025  # seconds between two looks of a reader at its inputs
PORT: Final = 1e9  # bits a second of the engine's network port
FRAME: Final = 24  # bytes of an Ethernet frame beside what is in it: IEEE 802.3 header, check, preamble and gap
ROUTED: Final = 1 + (OUTPUTS - INPUTS) / INPUTS  # outputs an input's message goes to


class Load(NamedTuple):
    """What one second asks of one engine, each as a share of what there is (1 = full)."""

    core: float
    port_in: float
    port_out: float
    lender: float  # of the core of a machine that lends

    @property
    def first(self) -> str:
        """What is full first as machines are added."""
        return max(self._fields, key=lambda name: getattr(self, name)).replace("_", ", ")


def on_paper(machines: int, costs: Costs, standby: bool) -> Load:
    """Packs hold what came in one turn; an engine that has more to do than a turn takes bigger packs, and fewer."""
    events = machines * INPUTS * RATE
    packs = machines * INPUTS * min(RATE, 1 / TURN)  # a pack a message, as long as messages are rarer than turns
    orders = events * ROUTED
    core = events * costs.event + packs * costs.heard + orders * costs.order + packs * ROUTED * costs.put
    bits_in = packs * (costs.pack_bytes + FRAME) * 8 + events * costs.event_bytes * 8
    bits_out = packs * ROUTED * (costs.pack_bytes + FRAME) * 8 + orders * costs.event_bytes * 8
    lender = INPUTS * RATE * (costs.put * (2 if standby else 1) + costs.heard * ROUTED + costs.lent * ROUTED)
    return Load(core, bits_in / PORT, bits_out / PORT, lender)


@dataclass
class Pack:
    """One put: when its events were read, and how many they are."""

    read_at: float
    events: int


class Simulation:
    """One engine, its network port and the machines around it; times in seconds."""

    def __init__(self, machines: int, costs: Costs, seed: int = 1) -> None:
        self._costs = costs
        self._machines = machines
        self._dice = random.Random(seed)
        self.waits = array("d")
        self.busy = 0.0

    def run(self, seconds: float) -> None:
        """Fill `waits` (each event's way) and `busy` (of the engine's core)."""
        arrivals = self._arrivals(seconds)
        waiting: deque[Pack] = deque()
        now, port_free = 0.0, 0.0
        while arrivals or waiting:
            if not waiting and arrivals[0][0] > now:
                now = arrivals[0][0]
            while arrivals and arrivals[0][0] <= now:
                at, _, pack = heapq.heappop(arrivals)
                waiting.append(pack)
            took, sent = self._turn(waiting)
            now += took
            self.busy += took
            for pack in sent:
                port_free = max(port_free, now) + self._bits(pack) / PORT
                self.waits.extend([port_free - pack.read_at] * pack.events)

    def _turn(self, waiting: deque[Pack]) -> tuple[float, list[Pack]]:
        """The engine takes all that waits; what goes to one output in a turn is one put."""
        costs, packs = self._costs, list(waiting)
        waiting.clear()
        events = sum(pack.events for pack in packs)
        orders = events * ROUTED
        puts = min(len(packs) * ROUTED, self._machines * OUTPUTS)
        took = len(packs) * costs.heard + events * costs.event + orders * costs.order + puts * costs.put
        return took, packs

    def _bits(self, pack: Pack) -> float:
        costs = self._costs
        return 8 * ROUTED * (costs.pack_bytes + FRAME + pack.events * costs.event_bytes)

    def _arrivals(self, seconds: float) -> list[tuple[float, int, Pack]]:
        """When each pack reaches the engine: the switch hands on one frame after another."""
        sent = sorted(
            (read, read - at)
            for _ in range(self._machines * INPUTS)
            for at in self._played(seconds)
            for read in [(at // TURN + 1) * TURN]
        )
        free, made = 0.0, []
        for index, (read, _) in enumerate(sent):
            free = max(free, read + self._costs.put) + self._bits(Pack(0, 1)) / ROUTED / PORT
            made.append((free, index, Pack(read, 1)))
        heapq.heapify(made)
        return made

    def _played(self, seconds: float) -> list[float]:
        """An even stream that begins at any moment."""
        begin = self._dice.random() / RATE
        return [begin + index / RATE for index in range(int(seconds * RATE))]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--machines", type=int, nargs="+", default=[2, 8, 32])
    parser.add_argument("--seconds", type=float, default=2.0)
    options = parser.parse_args()
    costs = measured()
    console = Console()
    console.print("measured: " + ", ".join(f"{name} {value:.3g}" for name, value in costs.told().items()))
    paper = Table("machines", "events/s", "engine's core", "its port in", "out", "a lender's core", "full first")
    for machines in options.machines:
        load = on_paper(machines, costs, standby=True)
        shares = (f"{share:.0%}" for share in load)
        paper.add_row(str(machines), f"{machines * INPUTS * RATE:,}", *shares, load.first)
    console.print(paper)
    simulated = Table("machines", "p50 ms", "p99 ms", "worst ms", "engine's core busy")
    for machines in options.machines:
        simulation = Simulation(machines, costs)
        simulation.run(options.seconds)
        waits = sorted(simulation.waits)
        figures = (waits[int(len(waits) * part)] * 1000 for part in (0.5, 0.99))
        busy = simulation.busy / options.seconds
        simulated.add_row(str(machines), *(f"{x:.2f}" for x in figures), f"{waits[-1] * 1000:.2f}", f"{busy:.0%}")
    console.print(simulated)


if __name__ == "__main__":
    main()
