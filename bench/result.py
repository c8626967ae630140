"""The result of a part of the bench: tables, named figures, sentences; and how they are combined."""

import math
import statistics
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final, NamedTuple

#: modules of this package, each measured by its `run(pace)`; and the seconds after which it starts no further turn
#: (they pass only on a very busy machine)
PARTS: Final = {
    "latency": 125,
    "throughput": 60,
    "jack": 110,
    "scenes": 75,
    "growth": 35,
    "idle": 30,
    "grid": 75,
    "onjack": 150,
    "board": 45,
    "start": 15,
}

#: what the name of a part's results ends with if the compiled build was measured
COMPILED: Final = ", compiled"

Cell = str | float | None


class Pace(NamedTuple):
    """How long to measure: a short turn, or the default."""

    quick: bool = False
    until: float = math.inf  # monotonic seconds after which no further turn starts: the machine is too busy

    def rounds(self, usual: int) -> Iterator[int]:
        """This many rounds of turns, or one for a short turn; fewer if the time is over, but at least one."""
        for number in range(1 if self.quick else usual):
            if number == 0 or self.going:
                yield number

    @property
    def going(self) -> bool:
        """Whether there is time for more."""
        return time.monotonic() < self.until

    def seconds(self, usual: float) -> float:
        """How long a turn lasts."""
        return usual / 5 if self.quick else usual


@dataclass
class Table:
    """The first cell of a row is its label; `note` explains the columns."""

    title: str
    columns: list[str]
    rows: list[list[Cell]]
    note: str = ""


@dataclass
class Result:
    """One part's result. `figures` are for the targets and the picture; `notes` are whole sentences."""

    tables: list[Table] = field(default_factory=list)
    figures: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    curves: dict[str, dict[str, list[float]]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The form in results.json."""
        return asdict(self)


def medians(turns: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """The median of each figure over the turns."""
    return {name: statistics.median(turn[name] for turn in turns) for name in turns[0]} if turns else {}


def ratio(own: float | None, other: float | None) -> float | None:
    """How many times `other` `own` is; None if that is unknown."""
    return own / other if own is not None and other else None


def beside(own: str, rows: Mapping[str, Mapping[str, float]], compared: Sequence[str], title: str, note: str) -> Table:
    """A table of contenders: first the ratio of `own` to each one's figures, then all figures."""
    mine = rows[own]
    shown = list(mine)
    listed: list[list[Cell]] = []
    for name, row in rows.items():
        ratios = [ratio(mine[each], row.get(each)) if name != own else None for each in compared]
        listed.append([name, *ratios, *(row.get(each) for each in shown)])
    return Table(title, ["", *(f"{own} ÷ it: {each}" for each in compared), *shown], listed, note)
