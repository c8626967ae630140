"""The machine that runs the bench, and what processes use of it (Linux's /proc)."""

import importlib.metadata
import os
import platform
import statistics
import subprocess
import time
from pathlib import Path
from typing import Any, Final

TICK: Final = os.sysconf("SC_CLK_TCK")
_UNITS: Final = 20  # of fixed work, until it is known how long one takes
_LIBRARIES: Final = ("python-rtmidi", "mido", "trio", "pydantic", "tomlkit", "typer", "rich")


def description() -> dict[str, Any]:
    """Cores, system, Python and libraries: what a figure depends on, without the name of a maker or an owner."""
    return {
        "cores": os.cpu_count(),
        "system": f"{platform.system()}, {platform.machine()}",
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "libraries": {name: importlib.metadata.version(name) for name in _LIBRARIES},
    }


def commit() -> str:
    """The commit that is measured, with a plus sign if files were changed since; "unknown" outside a clone."""
    asked = ("git", "describe", "--always", "--dirty=+", "--exclude=*", "--abbrev=10")
    try:
        found = subprocess.run(asked, cwd=Path(__file__).parent, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return found.stdout.strip()


def cpu_time(process: int) -> float:
    """Seconds of CPU that a process has used, with its ended children; proc_pid_stat(5): fields 14 to 17."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return sum(int(field) for field in fields[11:15]) / TICK


def threads_time(process: int) -> float:
    """Seconds of CPU that a process's present threads have used, to the ns (sched-stats in Linux's documents)."""
    return sum(thread_time(process, int(each.name)) for each in Path(f"/proc/{process}/task").iterdir())


def thread_time(process: int, thread: int) -> float:
    """The same of one thread; a process's first has its own number."""
    return int(Path(f"/proc/{process}/task/{thread}/schedstat").read_text().split()[0]) / 1e9


def family(process: int) -> list[int]:
    """A process and all its descendants."""
    children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [process, *(one for child in children for one in family(int(child)))]


def family_time(process: int) -> float:
    """Seconds of CPU that a process and its children have used."""
    return sum(cpu_time(each) for each in family(process))


def family_threads_time(process: int) -> float:
    """The same of a process and its children."""
    return sum(threads_time(each) for each in family(process))


def resident(process: int | str = "self") -> float:
    """Megabytes of a process in memory."""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGESIZE") / 1e6


def _busy() -> tuple[float, float]:
    """Seconds of CPU that the whole machine has used, and could have used; proc_stat(5)."""
    fields = [int(field) / TICK for field in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
    return sum(fields) - fields[3] - fields[4], sum(fields)


class FixedWork:
    """Python work that is always the same. `took`: how long each turn was (ns); what they differ by is the machine's.

    It looks up small objects among two thousand, makes others and keeps none.
    """

    def __init__(self) -> None:
        self.took: list[int] = []
        self._units = _UNITS
        self.table = {bytes((0x90, key, value)): (key, value, [value]) for key in range(64) for value in range(32)}
        self._listed = [*self.table]

    def turn(self) -> None:
        """Do it once."""
        begin = time.perf_counter_ns()
        table, listed = self.table, self._listed
        for unit in range(self._units):
            first = unit * 97 % (len(listed) - 16)
            found = [table[each] for each in listed[first : first + 16]]
            made = {(key, value): (value, key) for key, value, _ in found}
            sorted(made)
        self.took.append(time.perf_counter_ns() - begin)

    def last(self, wanted: float) -> None:
        """From now on it takes about this long (ns), by the median of its turns so far, which are forgotten."""
        usual = statistics.median(self.took)
        if usual:
            self._units = max(1, round(self._units * wanted / usual))
        self.took.clear()


class Watch:
    """Watches the machine during a measurement, from its construction on."""

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._busy, self._could = _busy()
        self._own = family_time(os.getpid())

    @property
    def seconds(self) -> float:
        """Seconds since the start."""
        return time.monotonic() - self._begun

    @property
    def others_percent(self) -> float:
        """CPU used by other programs meanwhile, in % of all cores."""
        busy, could = _busy()
        others = busy - self._busy - (family_time(os.getpid()) - self._own)
        return max(0.0, 100 * others / max(0.01, could - self._could))
