"""Part `attacks`: a note's way through an engine while it is attacked, against the same way while it is not.

Engine, panel, player and attacker are processes of their own; ports are FIFOs. The attacks are those of
`tests/support/attacks.py`, each on a stage of its own. Quiet and attacked turns take turns, and each attacked one is
compared with the quiet one just before it: what else the computer does weighs on both alike, and the median leaves out
pairs in which it did not. Turns are short, so that a stall of 20 ms in each is more than a hundredth of its notes. A
quiet turn begins when the engine has worked off what the attack has left.
"""

import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from bench.machine import cpu_time
from bench.result import Cell, Pace, Result, Table
from engine.cluster.link.limited_traffic import PAUSE
from tests.support.attacked_stage import AttackedStage, attacked_stage
from tests.support.attacks import ATTACKS
from tests.support.timed_notes import TimedNotes
from tests.support.waiting import until

SECONDS: Final = 1.6  # of a turn
TURNS: Final = 5  # of each kind
_TAIL: Final = 0.99
_LOOK: Final = 0.5  # seconds in which the engine's work is measured
_RESTS: Final = 1.5  # times its work before anything happened that it does at most when it rests
_SLACK: Final = 0.03  # of a core: the system counts in hundredths of a second


def one_attack(name: str, pace: Pace) -> dict[str, float]:
    """Turns of quiet and of this attack: see `compared`; and the memory that it adds (MB)."""
    attack = ATTACKS[name]
    with tempfile.TemporaryDirectory(prefix="bl") as folder, attacked_stage(Path(folder), attack.rig) as stage:
        before, idle = stage.weight(), _busy(stage)
        pause = PAUSE if attack.alone else 0.0  # in which a machine that flooded is left out: each turn meets it afresh
        turns = []
        for _ in pace.rounds(TURNS):
            turns.append(_turn(stage, name, pace.seconds(SECONDS)))
            time.sleep(pause)
            until("the engine to rest", lambda: _busy(stage) < _RESTS * idle + _SLACK)
        most = stage.heaviest()
    return {**compared(turns), "engine": most.engine - before.engine, "panel": most.panel - before.panel}


def compared(turns: Sequence[tuple[TimedNotes, TimedNotes]]) -> dict[str, float]:
    """Quiet turns, each with the attacked one after it: medians of their p99 (µs) and of how many times one is the
    other, the longest delay beside the attack, and messages that went astray.
    """
    tails = [(quiet.at(_TAIL), beside.at(_TAIL)) for quiet, beside in turns]
    return {
        "quiet": statistics.median(quiet for quiet, _ in tails),
        "beside it": statistics.median(beside for _, beside in tails),
        "ratio": statistics.median(beside / quiet for quiet, beside in tails),
        "longest": max(max(beside.delays) for _, beside in turns),
        "strays": float(sum(each.lost + len(each.strangers) for turn in turns for each in turn)),
    }


def _busy(stage: AttackedStage) -> float:
    """The part of a core that the engine takes now: what an attack has left to be worked off may take it seconds."""
    before = cpu_time(stage.engine.pid)
    time.sleep(_LOOK)
    return (cpu_time(stage.engine.pid) - before) / _LOOK


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
        "µs from the input port to the output port, p99 unless it says longest; MB added at the most; medians of "
        "turns. The ratio is that of each turn to the quiet one before it."
    )
    columns = ["", *next(iter(rows.values()))]
    worst = {key: max(row[key] for row in rows.values()) for key in ("ratio", "engine", "panel", "strays")}
    return Result(
        [Table("A note beside each attack", columns, listed, note)], {**worst, "worst ratio": worst.pop("ratio")}
    )
