"""Part `onjack`: what a rig of 24 inputs and 32 outputs costs on JACK while nobody plays, and its clock at the far end.

Beside Bayleaf a bare python-rtmidi process with as many ports, each of them a client; one client that has as many and
does nothing (`silent.cpp`), which is the library's and the kernel's own share; and a bare loop that sleeps until each
clock is due. The listener (`clockear.cpp`) notes the frame of each clock in the server's own count.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from functools import partial
from pathlib import Path
from typing import Final

from bench.contenders import BAYLEAF, Failed, at_rest, contender, running
from bench.jackstage import SERVER, Missing, build, server
from bench.load import percentiles
from bench.result import Pace, Result, beside, medians
from bench.rigs import ports, scene

INPUTS, OUTPUTS = 24, 32
BPM: Final = 120
BARE, SILENT, LOOP = "bare python-rtmidi", "a client that does nothing", "bare sleep loop"
JUMP: Final = -1  # among frames: the server's count jumped or stood still
_SETTLED: Final = 5.0  # seconds until starts are over
_A_SECOND: Final = 24 * BPM // 60  # clocks
_UNTRUE: Final = 2  # seconds after a jump
_CLOCK: Final = [f"[sync.clock]\nbpm = {BPM}\nto = ['out0']\nrun = true"]

Contender = Callable[[], AbstractContextManager[subprocess.Popen[bytes]]]


def run(pace: Pace) -> Result:
    """Measure, or say what is missing. Raises Failed."""
    result = Result()
    try:
        with ExitStack() as stack:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bayleaf-bench-")))
            ear, silent = build(folder, "clockear", "-ljack"), build(folder, "silent", "-ljack")
            os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
            result.notes.append(stack.enter_context(server(folder)))
            _idle(pace, result, folder, silent)
            _clock(pace, result, folder, ear)
    except Missing as fault:
        result.notes.append(f"Nothing could be measured on JACK: {fault}.")
    return result


def _rig(more: Sequence[str]) -> str:
    routes = [f'{{ from = "in{source}", to = "out{source}" }}' for source in range(INPUTS)]
    return "\n".join(["format = 1", *ports(INPUTS, OUTPUTS), *more, *scene(1, routes)])


def _bayleaf(folder: Path, more: Sequence[str]) -> Contender:
    return partial(running, folder, _rig(more), "--backend", "jack", "--virtual")


def _forwarder(name: str, folder: Path, kind: str, inputs: int, outputs: int) -> Contender:
    command = [sys.executable, "-m", "bench.forwarders", kind, "bench", str(inputs), str(outputs)]
    return partial(contender, name, command, folder)


def _idle(pace: Pace, result: Result, folder: Path, silent: str) -> None:
    contenders: dict[str, Contender] = {
        BAYLEAF: _bayleaf(folder, ()),
        SILENT: partial(contender, SILENT, [silent, "bench", str(INPUTS), str(OUTPUTS)], folder),
        BARE: _forwarder(BARE, folder, "bare", INPUTS, OUTPUTS),
    }
    turns: dict[str, list[dict[str, float]]] = {}
    for _ in pace.rounds(3):
        for name, begin in contenders.items():
            with begin() as process:
                time.sleep(_SETTLED)
                share = at_rest(name, process.pid, folder, pace.seconds(6))
            turns.setdefault(name, []).append({"CPU": share})
    rows = {name: medians(listed) for name, listed in turns.items()}
    title = f"Nobody plays: {INPUTS} inputs and {OUTPUTS} outputs on JACK"
    note = "% of a core, the panel's process included; medians. The client that does nothing has as many ports."
    result.tables.append(beside(BAYLEAF, rows, ("CPU",), title, note))
    result.figures["idle"] = rows[BAYLEAF]["CPU"]
    result.figures["idle ÷ bare"] = rows[BAYLEAF]["CPU"] / rows[BARE]["CPU"]
    result.figures["idle beside a client that does nothing"] = rows[BAYLEAF]["CPU"] - rows[SILENT]["CPU"]


def _clock(pace: Pace, result: Result, folder: Path, ear: str) -> None:
    contenders = {BAYLEAF: _bayleaf(folder, _CLOCK), LOOP: _forwarder(LOOP, folder, "clock", 0, 1)}
    turns: dict[str, list[dict[str, float]]] = {}
    for _ in pace.rounds(3):
        for name, begin in contenders.items():
            with begin():
                time.sleep(_SETTLED)
                command = [ear, "bench", str(pace.seconds(10))]
                rate, *frames = map(int, subprocess.check_output(command, text=True).split())
                if max(frames, default=JUMP) == JUMP:
                    raise Failed(name, "sent no clock", folder)
            found, jumps = off_grid(rate, frames), {"jumps": float(frames.count(JUMP))}
            turns.setdefault(name, []).append(jumps | (percentiles(found) if found else {}))
    measured = {name: [turn for turn in listed if len(turn) > 1] for name, listed in turns.items()}
    rows = {name: medians(listed) | {"jumps": _jumps(turns[name])} for name, listed in measured.items()}
    title = f"Clock at {BPM} beats per minute at the far end, on JACK"
    note = (
        "µs off the grid, by the listener's frames; medians. A frame at 48 kHz is 21 µs. Jumps: how often in all turns "
        f"a period was missed, so that the count jumped or stood still; {_UNTRUE} s after each are left out."
    )
    result.tables.append(beside(BAYLEAF, rows, ("p50", "p99"), title, note))
    if measured[BAYLEAF]:
        result.figures["clock p99"] = rows[BAYLEAF]["p99"]
    else:
        result.notes.append("The server missed periods all the time, so the clock could not be measured.")


def _jumps(turns: Sequence[Mapping[str, float]]) -> float:
    return sum(turn["jumps"] for turn in turns)


def off_grid(rate: int, frames: Sequence[int]) -> list[float]:
    """How far each clock is from an even grid (ns), which begins again with each jump and goes through the middle.

    Left out are the clocks just after a jump, and stretches of less than a second between two.
    """
    found: list[float] = []
    for number, stretch in enumerate(_stretches(frames)):
        clocks = stretch[_UNTRUE * _A_SECOND :] if number else stretch
        late = [frame - clocks[0] - place * rate / _A_SECOND for place, frame in enumerate(clocks)]
        if len(late) >= _A_SECOND:
            middle = statistics.median(late)
            found += [abs(each - middle) * 1e9 / rate for each in late]
    return found


def _stretches(frames: Sequence[int]) -> list[list[int]]:
    found: list[list[int]] = [[]]
    for frame in frames:
        if frame == JUMP:
            found.append([])
        else:
            found[-1].append(frame)
    return found
