"""At which descriptor of this process the ALSA sequencer shows what comes to a port of RtMidi, which keeps it private.

Each of its ports is a client of its own, and opens the sequencer once. So it is the descriptor that is new.
"""

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

from engine.fault_log import faults

_Made = TypeVar("_Made")

SEQUENCER: Final = "/dev/snd/seq"
_OURS: Final = Path("/proc/self/fd")
_opening: Final = threading.Lock()  # or of two ports that are opened at once, each would find both


def descriptors_of(
    make: Callable[[], _Made], ours: Path = _OURS, sequencer: str = SEQUENCER
) -> tuple[_Made, tuple[int, ...]]:
    """What `make` returns, and the descriptor on the sequencer that it opened.

    No descriptor is returned if it is uncertain which one it is: then all inputs are polled, and the log says so.
    `ours`: where the system lists this process's descriptors.
    """
    with _opening:
        before = _on(sequencer, ours)
        made = make()
        new = _on(sequencer, ours) - before
    if len(new) == 1:
        return made, tuple(new)
    faults.record("looking for a port's descriptor, so that it is polled", LookupError(f"{len(new)} on {sequencer}"))
    return made, ()


def _on(file: str, ours: Path) -> set[int]:
    """The descriptors that lead to this file."""
    found: set[int] = set()
    try:
        for entry in ours.iterdir():
            try:
                if os.readlink(entry) == file:
                    found.add(int(entry.name))
            except OSError:
                continue  # closed meanwhile
    except OSError:
        return set()  # a system that does not list them
    return found
