"""The machine that was measured on, what else ran there, and what processes take of it (Linux's /proc)."""

import contextlib
import importlib.metadata
import os
import platform
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

TICK: Final = os.sysconf("SC_CLK_TCK")
_LIBRARIES: Final = ("python-rtmidi", "mido", "trio", "pydantic", "tomlkit", "typer", "rich")


def description() -> dict[str, Any]:
    """CPU, cores, system, Python and libraries."""
    return {
        "cpu": _cpu_model(),
        "cores": os.cpu_count(),
        "system": platform.platform(),
        "kernel": platform.release(),
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "libraries": {name: importlib.metadata.version(name) for name in _LIBRARIES},
    }


def _cpu_model() -> str:
    with contextlib.suppress(OSError):
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def cpu_time(process: int) -> float:
    """Seconds of CPU that a process has used, its ended children with it; proc_pid_stat(5): fields 14 to 17."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return sum(int(field) for field in fields[11:15]) / TICK


def family(process: int) -> list[int]:
    """A process and all that it has started."""
    children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [process, *(one for child in children for one in family(int(child)))]


def family_time(process: int) -> float:
    """Seconds of CPU that a process and its children have used."""
    return sum(cpu_time(each) for each in family(process))


def resident(process: int | str = "self") -> float:
    """Megabytes of a process in memory."""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGESIZE") / 1e6


def _busy() -> tuple[float, float]:
    """Seconds of CPU that the whole machine has used, and could have used; proc_stat(5)."""
    fields = [int(field) / TICK for field in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
    return sum(fields) - fields[3] - fields[4], sum(fields)


@contextlib.contextmanager
def watched() -> Iterator[dict[str, float]]:
    """What the machine was busy with in the meantime: all cores in %, this program's own share of it, load average."""
    told: dict[str, float] = {}
    busy, could = _busy()
    begun, own = time.monotonic(), family_time(os.getpid())
    yield told
    busy_after, could_after = _busy()
    told["load_average"] = os.getloadavg()[0]
    told["machine_busy_percent"] = 100 * (busy_after - busy) / max(0.01, could_after - could)
    others = busy_after - busy - (family_time(os.getpid()) - own)
    told["others_busy_percent"] = max(0.0, 100 * others / max(0.01, could_after - could))
    told["seconds"] = time.monotonic() - begun
