"""How many machines one engine can serve, and what is full first: on paper, and in a simulation.

    python -m bench.machines [--machines 2 8 32] [--seconds 2]

Every machine lends the ports of the large rig (see `load`), and every input plays a full DIN cable (1,041 messages of
three bytes per second) to an output of the machine after it, and a third of them to one more: all of it crosses the
network twice.
The cost of a pack, an event and a put is measured first, in this run, on this machine (see `netcosts`). On paper, each
resource's work per second is added up; the simulation lets packs queue for the engine's core and for its network port,
turn by turn, and says how long an event takes from the input's reader to the owner of its output.
"""

import argparse
import random
from array import array
from collections import deque
from typing import Final, NamedTuple

from rich.console import Console
from rich.table import Table

from bench.load import INPUTS, OUTPUTS, RATE
from bench.netcosts import Costs, measured

TURN: Final = 0.0005  # seconds between two packs of one machine: all that its ports have for the other goes together
PORT: Final = 1e9  # bits per second of the engine's network port
FRAME: Final = 24  # bytes of an Ethernet frame besides its payload: IEEE 802.3 header, check, preamble and gap
ROUTED: Final = 1 + (OUTPUTS - INPUTS) / INPUTS  # outputs an input's message goes to


class Load(NamedTuple):
    """The work of one second for one engine, each as a share of what is available (1 = full)."""

    core: float
    port_in: float
    port_out: float
    lender: float  # of the core of a machine that lends

    @property
    def first(self) -> str:
        """What is full first as machines are added."""
        return max(self._fields, key=lambda name: getattr(self, name)).replace("_", ", ")


def on_paper(machines: int, costs: Costs, rate: float) -> Load:
    """A machine that plays has events in each turn: its packs come at an even rate, with what has gathered.

    Each pack reaches the engine in charge and the standby.
    """
    events = machines * INPUTS * rate
    orders = events * ROUTED
    packs = machines * min(INPUTS * rate, 1 / TURN)
    core = packs * (costs.heard + costs.put) + events * costs.event + orders * costs.order
    overhead = packs * (costs.pack_bytes + FRAME)
    lender = packs / machines * (2 * costs.put + costs.heard) + INPUTS * rate * (costs.gathered + ROUTED * costs.lent)
    return Load(
        core,
        8 * (overhead + events * costs.event_bytes) / PORT,
        8 * (overhead + orders * costs.event_bytes) / PORT,
        lender,
    )


class Pack(NamedTuple):
    """One put of a machine: when it reaches the engine, and when its events were read."""

    at: float
    read_at: list[float]


class Simulation:
    """One engine, its network port and the machines around it; times in seconds."""

    def __init__(self, machines: int, costs: Costs, rate: float, seed: int = 1) -> None:
        self._costs = costs
        self._rate = rate
        self._machines = machines
        self._dice = random.Random(seed)
        self.waits = array("d")
        self.busy = 0.0

    def run(self, seconds: float) -> None:
        """Fill `waits` (each event's travel time) and `busy` (of the engine's core)."""
        arrivals = self._arrivals(seconds)
        now, port_free, put_at = 0.0, 0.0, 0.0
        while arrivals:
            now = max(now, arrivals[0].at)
            taken = []
            while arrivals and arrivals[0].at <= now:
                taken.append(arrivals.popleft())
            took = self._work(taken)
            puts = self._machines if now >= put_at else 0  # what is ready earlier waits for the next pack
            if puts:
                put_at = now + TURN
            took += puts * self._costs.put
            now += took
            self.busy += took
            read = [at for pack in taken for at in pack.read_at]
            port_free = max(port_free, now if puts else put_at) + self._carry(puts, len(read) * ROUTED)
            self.waits.extend(port_free - at for at in read)

    def _work(self, taken: list[Pack]) -> float:
        costs, events = self._costs, sum(len(pack.read_at) for pack in taken)
        return len(taken) * costs.heard + events * (costs.event + ROUTED * costs.order)

    def _carry(self, packs: int, events: float) -> float:
        costs = self._costs
        return 8 * (packs * (costs.pack_bytes + FRAME) + events * costs.event_bytes) / PORT

    def _arrivals(self, seconds: float) -> deque[Pack]:
        """The packs that reach the engine, and when: the switch passes on one frame after another."""
        sent = sorted(pack for _ in range(self._machines) for pack in self._packs(seconds))
        free, arrived = 0.0, deque[Pack]()
        for pack in sent:
            free = max(free, pack.at) + self._carry(1, len(pack.read_at))
            arrived.append(Pack(free, pack.read_at))
        return arrived

    def _packs(self, seconds: float) -> list[Pack]:
        """One machine's packs: even streams that begin at random moments, gathered turn by turn."""
        costs, begin = self._costs, self._dice.random() * TURN
        gathered: dict[int, list[float]] = {}
        for _ in range(INPUTS):
            first = self._dice.random() / self._rate
            for index in range(int(seconds * self._rate)):
                at = first + index / self._rate
                gathered.setdefault(int((at - begin) // TURN), []).append(at)
        return [
            Pack(begin + (turn + 1) * TURN + costs.put + len(read) * costs.gathered, sorted(read))
            for turn, read in sorted(gathered.items())
        ]


def simulated(machines: int, costs: Costs, rate: float, seconds: float) -> list[str]:
    """p50, p99 and worst travel time of an event in ms, and how busy the engine's core was."""
    simulation = Simulation(machines, costs, rate)
    simulation.run(seconds)
    waits = sorted(simulation.waits)
    shown = [f"{waits[min(len(waits) - 1, int(len(waits) * part))] * 1000:,.2f}" for part in (0.5, 0.99, 1)]
    return [*shown, f"{simulation.busy / seconds:.0%}"]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--machines", type=int, nargs="+", default=[2, 8, 32])
    parser.add_argument("--seconds", type=float, default=1.0)
    options = parser.parse_args()
    costs = measured()
    console = Console(width=140)
    console.print("measured: " + ", ".join(f"{name} {value:.3g}" for name, value in costs.as_shown().items()))
    heads = ("cables", "machines", "events/s", "engine's core", "its port in", "out", "a lender's core", "full first")
    table = Table(*heads, "simulated p50 ms", "p99", "worst", "core busy")
    for part, words in ((1.0, "full"), (0.1, "a tenth full")):
        for machines in options.machines:
            load = on_paper(machines, costs, RATE * part)
            shares = [f"{share:.0%}" for share in load]
            events = f"{machines * INPUTS * RATE * part:,.0f}"
            way = simulated(machines, costs, RATE * part, options.seconds)
            table.add_row(words, str(machines), events, *shares, load.first, *way)
    console.print(table)


if __name__ == "__main__":
    main()
