"""Ports close on a machine so busy that JACK's threads lose the processor while they handle messages."""

import os
import subprocess
from pathlib import Path

from tests.support.needed import need
from tests.support.paths import process_of


def _libjack() -> Path:
    """The library that python-rtmidi has loaded."""
    import rtmidi  # noqa: F401  loads it

    maps = Path("/proc/self/maps").read_text(encoding="utf-8").splitlines()
    return next(Path(line.split()[-1]) for line in maps if "libjack" in line)


def test_an_output_that_closes_while_its_thread_is_late_does_not_crash(jack_server: str, tmp_path: Path) -> None:
    """RtMidi would free an output's ring while JACK's thread reads it: a crash within five rounds."""
    need("cc")
    source = Path(__file__).parent.parent / "support" / "preempted_thread.c"
    library = tmp_path / "preempted_thread.so"
    define = f'-DLIBJACK="{_libjack()}"'
    subprocess.run(["cc", "-O2", "-shared", "-fPIC", define, "-o", library, source, "-ldl"], check=True)
    environment = {**os.environ, "LD_PRELOAD": str(library)}
    command = [*process_of("jack_closing_often"), "12"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stdout) == (0, "closed\n"), done.stderr
