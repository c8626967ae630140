"""The target of each figure, and whether it is met. The bounds are our own; no outside source."""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple


class Target(NamedTuple):
    """A figure, named "part.figure", and its bound: the highest allowed value, or with `least` the lowest."""

    what: str
    figure: str
    bound: float
    unit: str
    least: bool = False

    def verdict(self, parts: Mapping[str, Any]) -> tuple[float | None, str]:
        """The figure as measured, and "pass", "miss" or "not measured"."""
        part, _, name = self.figure.partition(".")
        measured = parts.get(part, {}).get("figures", {}).get(name)
        if measured is None:
            return None, "not measured"
        met = measured >= self.bound if self.least else measured <= self.bound
        return measured, "pass" if met else "miss"

    @property
    def wanted(self) -> str:
        """The bound in words."""
        bound = f"{self.bound:,.0f}" if self.bound >= 10 else f"{self.bound:.3g}"
        return f"{'≥' if self.least else '≤'} {bound} {self.unit}".strip()


TARGETS: Final = (
    Target("in process, the large rig at full DIN rate, short chain: p50", "latency.p50", 200, "µs"),
    Target("… p99", "latency.p99", 400, "µs"),
    Target("… p99.9", "latency.p99.9", 1000, "µs"),
    Target("… of a core", "latency.CPU", 30, "%"),
    Target("… lost", "latency.lost", 0, ""),
    Target("… CPU against a chain of mido objects that does the same", "latency.CPU ÷ mido", 1, "times"),
    Target("… from the moment that a message is due: p99", "latency.due p99", 1200, "µs"),
    Target("the same with real-time scheduling: p99.9", "latency.real-time p99.9", 500, "µs"),
    Target("through JACK, against a bare python-rtmidi forwarder: p50", "jack.p50 ÷ bare", 1.6, "times"),
    Target("… p99", "jack.p99 ÷ bare", 3, "times"),
    Target("… lost in turns without a missed cycle", "jack.lost without missed cycles", 0, ""),
    Target("… all CPU a delivery against a script with mido's ports", "jack.CPU ÷ mido script", 1 / 3, "times"),
    Target("deliveries per second on one core, memory warm", "throughput.warm", 500_000, "/s", least=True),
    Target("20 filters a route against none", "throughput.20 filters ÷ none", 0.9, "times", least=True),
    Target("compiled: the large rig, short chain: p50", "latency, compiled.p50", 45, "µs"),
    Target("… p99", "latency, compiled.p99", 150, "µs"),
    Target("… p99.9", "latency, compiled.p99.9", 350, "µs"),
    Target("… of a core", "latency, compiled.CPU", 14, "%"),
    Target("… from the moment that a message is due: p99", "latency, compiled.due p99", 350, "µs"),
    Target("compiled: deliveries per second, memory warm", "throughput, compiled.warm", 1_500_000, "/s", least=True),
    Target("… memory cold", "throughput, compiled.cold", 500_000, "/s", least=True),
    Target("… the whole show, memory warm", "throughput, compiled.warm, whole show", 900_000, "/s", least=True),
    Target(
        "… 64×64, five filters, cold, whole show, against the full rate",
        "throughput, compiled.64×64 cold ÷ full rate",
        1,
        "times",
        least=True,
    ),
    Target("… first answer through 5 filters to 2 outputs", "throughput, compiled.first answer", 8, "µs"),
    Target("recall with 1,000 scenes until the new one routes: p50", "scenes.recall p50, 1000", 200, "µs"),
    Target("… p99", "scenes.recall p99, 1000", 200, "µs"),
    Target("… p99 with 64 sounding notes", "scenes.recall p99, 64 notes", 200, "µs"),
    Target("longest extra wait of a note beside a recall", "scenes.extra wait", 960, "µs"),
    Target("notes lost or doubled by recalls", "scenes.strays", 0, ""),
    Target("burst on a DIN cable under full traffic, over its arithmetic", "scenes.burst over arithmetic", 5, "ms"),
    Target("clock at 120 bpm off the grid: p99", "grid.clock p99", 500, "µs"),
    Target("… with real-time scheduling", "grid.clock p99, real-time", 150, "µs"),
    Target("… and time code: left out in all turns", "grid.missing", 0, ""),
    Target("… the latest, off the grid", "grid.worst", 15, "ms"),
    Target("24 inputs and 32 outputs on JACK, idle: of a core", "onjack.idle", 2, "%"),
    Target("clock at 120 bpm on JACK, at the far end: p99", "onjack.clock p99", 30, "µs"),
    Target("… drift in an hour", "hour.drift", 100, "µs"),
    Target("… left out in an hour", "hour.missing", 0, ""),
    Target("… the latest in an hour, beside other work", "hour.worst", 40, "ms"),
    Target("a note beside the worst attack against quiet: p99", "attacks.worst ratio", 1.5, "times"),
    Target("… memory that it adds to the engine", "attacks.engine", 50, "MB"),
    Target("… and to the panel", "attacks.panel", 50, "MB"),
    Target("… messages lost or doubled", "attacks.strays", 0, ""),
    Target("8×8 ports at half load on a fifth of a core: p99", "board.p99", 3000, "µs"),
    Target("… lost", "board.lost", 0, ""),
    Target("36 ports in memory, idle: of a core", "board.idle", 1, "%"),
    Target("36 byte devices, idle: of a core", "board.idle devices", 1, "%"),
    Target("64 scenes × 32 routes × 3 filters: start to first routed message", "start.first message", 1000, "ms"),
    Target("the same, idle: of a core", "idle.CPU", 3, "%"),
    Target("the same, idle: memory", "idle.memory", 80, "MB"),
)


def verdicts(parts: Mapping[str, Any]) -> list[list[str | float | None]]:
    """A row for each target: verdict, what, wanted, measured."""
    return [[met, each.what, each.wanted, value] for each in TARGETS for value, met in (each.verdict(parts),)]
