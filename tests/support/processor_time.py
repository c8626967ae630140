"""What a busy computer costs a process."""

from pathlib import Path


def waited_for_processor(process: int) -> float:
    """The seconds for which the main thread of this process could run and did not, since others did.

    Linux's sched-stats, "/proc/<pid>/schedstat": time on a processor, time waiting on a run queue (ns), and a count.
    """
    return int(Path(f"/proc/{process}/schedstat").read_text().split()[1]) / 1e9
