"""Samples a running process with py-spy or perf, and collapses what they say into stacks of readable names.

py-spy sees the functions of Python, so it serves for the interpreted build; it leaves out time in the system. perf sees
compiled functions and the system, but of what is interpreted only that it is; what that is follows from who called it.
A name begins with its owner: a folder of the source (`core`, `live`, …), `trio`, `Python`, `system` or `bench`.
"""

import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import dropwhile, groupby
from pathlib import Path
from typing import Final

from bench.flamegraph import Stacks
from engine.build_backend import modules

PY_SPY: Final = "py-spy (pip install py-spy)"
PERF: Final = "perf (apt-get install linux-perf)"
_RATE: Final = 499  # samples per second of py-spy; not in step with anything that is periodic
_OFTEN: Final = 1499  # of perf, per second of the process's own time
_PY_SPY_FILE, _PERF_FILE = "stacks.txt", "perf.data"
_STACK: Final = 8192  # bytes of the stack that perf keeps of each sample
#: where a thread waits or is about to; py-spy cannot tell how much of it is work
WAITING: Final = frozenset(
    (
        "live: InputReader._rest",
        "live: run",
        "trio: EpollIOManager.get_events",
        "ports: JackInput.wait",
        "ports: WatchedJackClient.wait",
    )
)
_READER, _MAIN, _JACK = "reader's thread", "loop's thread", "JACK's thread"
_READS: Final = frozenset(("live: InputReader._run", "live: InputReader._poll", "live: InputReader._rest"))
#: owners of frames that are above everything that a thread does, and say nothing
_ABOVE: Final = ("Python", "bench", "cli")
_WAKING: Final = "live: waking the loop, in Python"
_LOOP: Final = "live: the loop and trio, in Python"
#: what is interpreted below these compiled functions
INTERPRETED: Final = {
    "live: InputReader._poll": "ports: an input port, in Python",
    "live: PortBank.send": "ports: an output port, in Python",
    "live: InputReader._run": _WAKING,
    "live: InputReader._rouse": _WAKING,
}


class NotThere(Exception):
    """A profiler is missing or failed; the text says which, and what to do."""


def record(process: int, seconds: float, compiled: bool, folder: Path) -> None:
    """Write down what a process does for this long. Raises NotThere."""
    if compiled:
        asked = ["record", "-F", str(_OFTEN), "--call-graph", f"dwarf,{_STACK}", "-o", str(folder / _PERF_FILE)]
        _do("perf", PERF, *asked, "-p", str(process), "--", "sleep", str(seconds))
        return
    # it never stops the process: each stop wakes threads that sleep, and the show falls behind
    asked = ["record", "--nonblocking", "--threads", "--function", "--format", "raw", "--rate", str(_RATE)]
    asked += ["--duration", str(round(seconds)), "--output", str(folder / _PY_SPY_FILE)]
    _do("py-spy", PY_SPY, *asked, "--pid", str(process))


def recorded(compiled: bool, folder: Path) -> Stacks:
    """What `record` wrote down. Raises NotThere."""
    if not compiled:
        return py_spy_stacks((folder / _PY_SPY_FILE).read_text(encoding="utf-8").splitlines())
    asked = ["script", "-i", str(folder / _PERF_FILE), "--no-inline", "-F", "comm,tid,ip,sym,dso"]
    return perf_stacks(_do("perf", PERF, *asked).splitlines())


def _do(program: str, what: str, *asked: str) -> str:
    if shutil.which(program) is None:
        raise NotThere(f"there is no {what}")
    done = subprocess.run([program, *asked], capture_output=True, text=True, errors="replace", check=False)
    if done.returncode:
        said = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        raise NotThere(f"{program} failed, status {done.returncode}: {said}")
    return done.stdout


# py-spy: "thread (7): MainThread;main (a.py:3);Show.pump (engine/live/show.py:9) 17"


def py_spy_stacks(lines: Iterable[str]) -> Stacks:
    """What py-spy wrote, without what waits."""
    stacks: Counter[tuple[str, ...]] = Counter()
    for line in lines:
        frames, _, samples = line.rpartition(" ")
        thread, *functions = frames.split(";")
        below = dropwhile(lambda name: name.startswith(_ABOVE), map(_python_name, functions))
        names = (_thread_name(thread), *below)
        if names[-1] not in WAITING:
            stacks[names] += int(samples)
    return stacks


def _thread_name(thread: str) -> str:
    return _READER if "reader" in thread else _MAIN if "Main" in thread else "other threads"


def _python_name(frame: str) -> str:
    function, _, place = frame.partition(" (")
    return f"{_owner(Path(place.rpartition(':')[0]).parts)}: {function.replace('.<locals>', '')}"


def _owner(parts: Sequence[str]) -> str:
    """Whose a source file is."""
    if "engine" in parts:
        return parts[parts.index("engine") + 1].removesuffix(".py")
    return next((each for each in ("filters", "bench", "trio") if each in parts), "Python")


# perf: a line "python 8", then "  7f00 symbol (/file.so)" for each frame, the innermost first, then an empty line

_Native = tuple[str, str]  # symbol, file


def perf_stacks(lines: Iterable[str]) -> Stacks:
    """What perf wrote. Frames of libraries and of the system that follow each other become one."""
    stacks: Counter[tuple[str, ...]] = Counter()
    for innermost_first in _samples(lines):
        stacks[_readable(innermost_first[::-1])] += 1
    return stacks


def _samples(lines: Iterable[str]) -> Iterator[list[_Native]]:
    frames: list[_Native] = []
    for line in lines:
        if line.startswith(("\t", " ")):
            _, _, rest = line.strip().partition(" ")
            symbol, _, file = rest.rpartition(" (")
            frames.append((symbol, file.rstrip(")")))
        elif frames:
            yield frames
            frames = []
    if frames:
        yield frames


def _readable(frames: Sequence[_Native]) -> tuple[str, ...]:
    names: list[str] = []
    runs = [(kind, [symbol for symbol, _ in run]) for kind, run in groupby(frames, _kind)]
    for place, (kind, symbols) in enumerate(runs):
        last = place == len(runs) - 1
        if kind == "ours":
            names += [name for name in map(compiled_name, symbols) if name]
        elif kind == "Python":
            below = INTERPRETED.get(names[-1]) if names else _LOOP
            names += [below] if below and any("Eval" in symbol for symbol in symbols) else []
            names += [f"Python: {symbols[-1]}"] if last else []
        elif kind == "system":
            names.append(f"system: {_call(symbols)}")
        elif last or kind not in ("system", "C"):
            names.append(f"{kind}: {symbols[-1]}")
    if any(name in _READS for name in names):
        return (_READER, *(name for name in names if name != _LOOP))
    jack = bool(names) and names[0].startswith(("JACK", "ports"))
    return (_JACK if jack else _MAIN, *names)


def _kind(frame: _Native) -> str:
    symbol, file = frame
    name = Path(file).name
    if symbol.startswith("CPy"):
        return "ours"
    if "kernel" in name or name.startswith("[v"):
        return "system"
    if "jack_client" in file:
        return "ports"
    return "JACK" if "jack" in name else "C" if name.startswith(("libc.", "ld-")) else "Python"


def _call(symbols: Sequence[str]) -> str:
    """The system call of a run of frames in the kernel."""
    found = (re.search(r"__x64_sys_(\w+)|__vdso_(\w+)", symbol) for symbol in symbols)
    return next((each[1] or each[2] for each in found if each), "interrupts and switches")


def compiled_name(symbol: str) -> str | None:
    """A compiled function's name as in the source; None for what mypyc puts around it.

    mypyc writes `CPyDef_MODULE___CLASS___FUNCTION`, with as many of the last words of the module's name as are needed.
    """
    if not symbol.startswith("CPyDef_"):
        return f"Python: {symbol}" if symbol.startswith("CPy") and not symbol.startswith("CPyPy") else None
    words = re.split(r"___(?=\w)", symbol.removeprefix("CPyDef_"))
    for length in range(len(words) - 1, 0, -1):
        ending = "/".join(words[:length])
        found = [file for file in modules() if file.removesuffix(".py").endswith(f"/{ending}")]
        if found:
            return f"{_owner(Path(found[0]).parts)}: {'.'.join(words[length:])}"
    return f"Python: {symbol}"
