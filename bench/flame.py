"""Shows where the time goes: samples the large rig while it plays and draws a flame graph of each stage.

    python -m bench.flame [--stage warm|cold|jack …] [--out FOLDER]

Stages are the load of `load.py` in memory, remembered or never heard before, and `bayleaf run` on a JACK server of its
own. py-spy samples the interpreted build, perf the compiled one (see `sampling.py`); each is drawn into FOLDER (by
default `bench/flames`) as STAGE-BUILD.svg. The command also prints what share each part of the way takes.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Final

from bench.contenders import BAYLEAF, contender, end
from bench.flamegraph import drawn, share_of
from bench.forward import one_turn
from bench.jackstage import SERVER, Missing, Probe, changed, server
from bench.load import INPUTS, OUTPUTS, SHORT, MemoryPorts, rig, rig_text
from bench.machine import thread_time, threads_time
from bench.sampling import NotThere, record, recorded
from engine.which_build import build_in_words, is_compiled

_SECONDS: Final = 4.0  # of samples
_WARM_UP: Final = {"warm": 1.5, "cold": 0.5, "jack": 1.5}  # s before them; what is cold is so for less than 7 s
_MORE: Final = 1.5  # s that the music goes on, since a profiler takes a while to begin
_HERE: Final = Path(__file__).parent / "flames"
_TITLES: Final = {
    "warm": "ports in memory, everything remembered",
    "cold": "ports in memory, nothing remembered",
    "jack": "on JACK through one client, everything remembered",
}
#: parts of the way, and the frames by which they are known; the first that is found counts
PARTS: Final = (
    (
        "input ports (in memory: the bench's players)",
        {"ports: an input port, in Python", "bench: Scheduled.poll", "ports: JackInput.poll"},
    ),
    (
        "output ports (in memory: the bench's listeners)",
        {"ports: an output port, in Python", "bench: Noting.send", "bench: Swallowing.send", "ports: JackOutput.send"},
    ),
    ("the core: routing, cables", {"core: Engine.receive", "core: Engine.tick"}),
    ("handing over to ports, meters, recorder", {"live: PortBank.send", "live: FlightRecorder.tidy"}),
    ("taking what has arrived, the rest of each turn", {"live: Show.pump"}),
    ("JACK's thread", {"JACK's thread"}),
    (
        "waking the loop",
        {"live: waking the loop, in Python", "live: waker.wake", "live: InputReader._rouse"},
    ),
    ("the reader: looking at all ports", {"live: InputReader._poll"}),
    ("the reader: sleeping and the rest", {"reader's thread"}),
)
REST: Final = "the loop and trio"


def stage_in_memory(memory: str, folder: Path) -> tuple[float, float]:
    """Have a process that plays the load sampled; see `_record`. Raises NotThere."""
    command = [sys.executable, "-m", "bench.flame", "--play", memory]
    process = subprocess.Popen(command, stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(_WARM_UP[memory])
        return _record(process.pid, folder)
    finally:
        end(process)


def stage_on_jack(memory: str, folder: Path) -> tuple[float, float]:
    """The same of `bayleaf run`. Raises NotThere, Failed or Missing."""
    (folder / "rig.toml").write_text(rig_text(), encoding="utf-8")
    command = [sys.executable, "-m", "engine.cli", "run", str(folder / "rig.toml")]
    found: list[tuple[float, float] | NotThere] = []
    with ExitStack() as stack:
        os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
        stack.enter_context(server(folder))
        probe = stack.enter_context(closing(Probe(folder)))
        options = ["--backend", "jack", "--virtual", "--name", "flame"]
        process = stack.enter_context(contender(BAYLEAF, [*command, *options], folder))

        def sample() -> None:
            try:
                found.append(_record(process.pid, folder))
            except NotThere as fault:
                found.append(fault)

        beside = threading.Thread(target=sample)
        probe.turn("flame", process.pid, changed, _WARM_UP[memory], _SECONDS + _MORE, beside.start)
        beside.join()
    if isinstance(found[0], NotThere):
        raise found[0]
    return found[0]


def _record(process: int, folder: Path) -> tuple[float, float]:
    """Have it sampled; how much of a core its loop and its other threads use meanwhile (%). Raises NotThere."""
    since, loop, every = time.monotonic(), thread_time(process, process), threads_time(process)
    record(process, _SECONDS, is_compiled(), folder)
    took = time.monotonic() - since
    loop, every = thread_time(process, process) - loop, threads_time(process) - every
    return 100 * loop / took, 100 * (every - loop) / took


def play(memory: str) -> None:
    """Play the load as part `latency` does, after a line that says so."""
    ports = MemoryPorts(memory)
    loaded = rig((), INPUTS, OUTPUTS, SHORT)
    print("plays", flush=True)
    one_turn(BAYLEAF, _SECONDS + 2 * _MORE, ports, warm_up=_WARM_UP[memory], loaded=loaded, left_over=0.0)


STAGES: Final[dict[str, Callable[[str, Path], tuple[float, float]]]] = {
    "warm": stage_in_memory,
    "cold": stage_in_memory,
    "jack": stage_on_jack,
}


def show(stage: str, out: Path) -> None:
    """Sample one stage, draw it and print the shares. Raises NotThere, Failed or Missing."""
    with tempfile.TemporaryDirectory(prefix="bayleaf-flame-") as folder:
        loop, others = STAGES[stage](stage, Path(folder))
        stacks = recorded(is_compiled(), Path(folder))
    build = build_in_words()
    sampler = "perf" if is_compiled() else "py-spy, what waits left out"
    title = f"The large rig, {build}: {_TITLES[stage]}"
    note = f"{sum(stacks.values()):,} samples by {sampler}; frames under 0.5 % left out. "
    note += f"Of a core: the loop's thread {loop:.0f} %, the reader's and all others {others:.0f} %"
    file = out / f"{stage}-{build}.svg"
    file.write_text(drawn(stacks, title, note), encoding="utf-8")
    print(f"{title}\n{note}\n")
    for part, share in share_of(stacks, [(part, frozenset(frames)) for part, frames in PARTS], REST).items():
        print(f"| {part} | {100 * share:.0f} % |")
    print(f"\nwritten: {file}\n", flush=True)


def main() -> None:
    """Sample what is asked for; status 1 if something is missing."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stage", action="append", choices=STAGES, help="only this stage; may be given again")
    parser.add_argument("--out", type=Path, default=_HERE, help="where the pictures go")
    parser.add_argument("--play", choices=("warm", "cold"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.play:
        play(asked.play)
        return
    asked.out.mkdir(parents=True, exist_ok=True)
    for stage in asked.stage or STAGES:
        try:
            show(stage, asked.out)
        except (NotThere, Missing) as fault:
            sys.exit(f"{stage}: nothing was drawn: {fault}")


if __name__ == "__main__":
    main()
