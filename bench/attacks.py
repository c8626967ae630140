"""Part `attacks`: a note's way through an engine while it is attacked, against the same way while it is not.

Engine, panel, player and attacker are processes of their own; ports are FIFOs. The attacks are those of
`tests/support/attacks.py`, each on a stage of its own, in turns with quiet.
"""

import statistics
import tempfile
from pathlib import Path
from typing import Final

from bench.result import Cell, Pace, Result, Table
from tests.support.attacked_stage import AttackedStage, attacked_stage
from tests.support.attacks import ATTACKS
from tests.support.timed_notes import TimedNotes

_SECONDS: Final = 3.0  # of a turn
_TAIL: Final = 0.99


def one_attack(name: str, pace: Pace) -> dict[str, float]:
    """Turns of quiet and of this attack: p99 of both (µs), the memory that it adds (MB), messages that went astray."""
    with tempfile.TemporaryDirectory(prefix="bl") as folder, attacked_stage(Path(folder), ATTACKS[name].rig) as stage:
        before = stage.weight()
        turns = [_turn(stage, name, pace.seconds(_SECONDS)) for _ in pace.rounds(3)]
        most = stage.heaviest()
    quiet, beside = (statistics.median(played.at(_TAIL) for played in listed) for listed in zip(*turns, strict=True))
    return {
        "quiet": quiet,
        "beside it": beside,
        "ratio": beside / quiet,
        "longest": max(max(played.delays) for _, played in turns),
        "engine": most.engine - before.engine,
        "panel": most.panel - before.panel,
        "strays": float(sum(each.lost + each.strangers for turn in turns for each in turn)),
    }


def _turn(stage: AttackedStage, name: str, seconds: float) -> tuple[TimedNotes, TimedNotes]:
    quiet = stage.play(seconds)
    with stage.attacked(name):
        beside = stage.play(seconds)
    stage.calm()
    return quiet, beside


def run(pace: Pace) -> Result:
    """Measure."""
    rows: dict[str, dict[str, float]] = {name: one_attack(name, pace) for name in ATTACKS}
    listed: list[list[Cell]] = [[name, *row.values()] for name, row in rows.items()]
    note = (
        "µs from the input port to the output port, p99 unless it says longest; MB added at the most; medians of turns."
    )
    columns = ["", *next(iter(rows.values()))]
    worst = {key: max(row[key] for row in rows.values()) for key in ("ratio", "engine", "panel", "strays")}
    return Result(
        [Table("A note beside each attack", columns, listed, note)], {**worst, "worst ratio": worst.pop("ratio")}
    )
