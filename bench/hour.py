"""Part `hour`, measured only if it is given by name: how far clock and time code drift in an hour.

It measures what part `grid` does, with all contenders at once. The drift is that of the punctual clocks, so other work
may run beside it; for the lateness of all clocks see part `grid`, which needs an otherwise idle machine.
"""

from typing import Final

from bench.grid import BARE, WAYS, lost, measure, table
from bench.result import Pace, Result

_HOUR: Final = 3600.0


def run(pace: Pace) -> Result:
    """Measure."""
    seconds = pace.seconds(_HOUR)
    rows, _, schedulings, _ = measure(dict.fromkeys(WAYS, seconds), range(1), at_once=True)
    own = [row for label, row in rows.items() if not label.startswith(BARE)]
    note = f"all at once, for {seconds:,.0f} s"
    drift = max(abs(row["drift, µs in all"]) for row in own)
    return Result([table(rows, note, schedulings)], {"drift": drift, **lost(rows)})
