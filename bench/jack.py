"""Part `jack`: from a player's JACK port through each contender to a listener's, measured from outside.

A JACK server of its own (its dummy driver: no sound hardware), one program that plays and listens (`probe.cpp`), and
the contenders in turns, each a process of its own, started for its turn: `bayleaf run`, a C++ forwarder
(`forwarder.cpp`), a polling python-rtmidi forwarder, the same with a chain of mido objects, and a script with mido's
own ports and callbacks (`forwarders.py`).
"""

import os
import sys
import tempfile
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Final

from bench.contenders import BAYLEAF, Failed, contender
from bench.jackstage import SERVER, Change, Missing, Probe, build, changed, plain, rtmidi_flags, server
from bench.load import INPUTS, OUTPUTS, RATE, percentiles, rig_text, tail
from bench.result import Pace, Result, beside, medians

CPP, BARE, MIDO, SCRIPT = "C++ forwarder", "bare python-rtmidi", "mido chain", "mido script"
WORK: Final = "CPU µs a delivery"
_NOTE: Final = (
    "µs from the moment a message is due at the player until the listener's cycle finds it; CPU of the contender's "
    "process in % of a core, and for each message that arrived. All contenders ask for the real-time scheduling that "
    "`bayleaf run` asks for; the C++ forwarder works in JACK's own threads. The bare ones filter nothing; the mido "
    "chain is a polling loop of ours with one object a message; the mido script is what mido's handbook shows, its "
    f"ports with callbacks. Messages per second: {INPUTS * RATE:,} in, {OUTPUTS * RATE:,} out. Strays were not sent, "
    "or came twice: RtMidi repeats an event when the server misses a cycle."
)


def run(pace: Pace) -> Result:
    """Measure, or say what is missing. Raises Failed."""
    result = Result()
    try:
        _measure(pace, result)
    except Missing as fault:
        result.notes.append(f"Nothing could be measured on JACK: {fault}.")
    return result


def _measure(pace: Pace, result: Result) -> None:
    turns: dict[str, list[dict[str, float]]] = {}
    times: dict[str, list[float]] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bayleaf-bench-")))
        commands = _contenders(folder, result)
        os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
        result.notes.append(stack.enter_context(server(folder)))
        probe = stack.enter_context(closing(Probe(folder)))
        for number in pace.rounds(3):
            for place, (name, (change, command)) in enumerate(commands.items()):
                ports = f"turn-{number}-{place}"
                with contender(name, [word.replace("NAME", ports) for word in command], folder) as process:
                    found = probe.turn(ports, process.pid, change, pace.seconds(1.5), pace.seconds(3))
                    if not found["times"]:
                        raise Failed(name, "passed nothing on", folder)
                times.setdefault(name, []).extend(found["times"])
                figures = {each: listed[0] for each, listed in found.items() if each != "times"}
                figures[WORK] = figures["CPU"] / 100 * pace.seconds(3) / len(found["times"]) * 1e6
                turns.setdefault(name, []).append({**percentiles(found["times"]), **figures})
    _tell(result, turns, times)


def _contenders(folder: Path, result: Result) -> dict[str, tuple[Change, list[str]]]:
    """What each makes of a message, and its command line; "NAME" stands for the name of its ports."""
    (folder / "rig.toml").write_text(rig_text(), encoding="utf-8")
    engine = [sys.executable, "-m", "engine.cli", "run", str(folder / "rig.toml"), "--backend", "jack", "--virtual"]
    found: dict[str, tuple[Change, list[str]]] = {BAYLEAF: (changed, [*engine, "--name", "NAME"])}
    try:
        found[CPP] = (plain, [build(folder, "forwarder", *rtmidi_flags()), "NAME", str(INPUTS), str(OUTPUTS)])
    except Missing as fault:
        result.notes.append(f"The C++ forwarder was not measured: {fault}.")
    for name, change, kind in ((BARE, plain, "bare"), (MIDO, changed, "mido"), (SCRIPT, changed, "script")):
        found[name] = (change, [sys.executable, "-m", "bench.forwarders", kind, "NAME"])
    return found


def _tell(result: Result, turns: dict[str, list[dict[str, float]]], times: dict[str, list[float]]) -> None:
    rows = {name: medians(listed) for name, listed in turns.items()}
    for name, listed in turns.items():
        for each in ("lost", "cycles missed", "strays"):
            rows[name][each] = sum(turn[each] for turn in listed)
    mine = rows[BAYLEAF]
    rounds = len(turns[BAYLEAF])
    title = f"The large rig ({INPUTS}×{OUTPUTS} ports), full DIN rate, medians of {rounds} turns; losses are sums"
    result.tables.append(beside(BAYLEAF, rows, ("p50", "p99", "p99.9", WORK), title, _NOTE))
    result.curves = {name: tail(listed) for name, listed in times.items()}
    result.figures = {
        **{each: mine[each] for each in ("p50", "p99", "p99.9", "CPU", "lost", "cycles missed")},
        **{f"{each} ÷ bare": mine[each] / rows[BARE][each] for each in ("p50", "p99", "p99.9", "CPU")},
        "CPU ÷ mido script": mine[WORK] / rows[SCRIPT][WORK],
    }
    clean = [turn["lost"] for turn in turns[BAYLEAF] if not turn["cycles missed"]]
    if clean:
        result.figures["lost without missed cycles"] = sum(clean)
    else:
        result.notes.append("The server missed a cycle in each of Bayleaf's turns, so what was lost proves nothing.")
