"""Ports of our own close in the middle of a flood. JACK 1.9.21 and python-rtmidi 1.5.8; nothing written promises it."""

import subprocess
import sys
from pathlib import Path

FLOODED = Path(__file__).parent / "jack_flooded.py"


def test_flooded_ports_close_and_nothing_crashes(jack_server: str) -> None:
    """A process whose virtual ports come and go in a flood, while threads of JACK are late, ends well."""
    command = [sys.executable, str(FLOODED), "20"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stdout) == (0, "heard\n"), done.stderr
