"""The virtual machine with an ALSA sequencer: it runs beside the first tests here, which mostly wait."""

import os
import subprocess
import sys
from pathlib import Path

QEMU = "qemu-system-x86_64"
_HERE = Path(__file__).parent
_UNFINISHED = 124  # the guest's own status when it ran out of time


def run_inside(file: str) -> subprocess.CompletedProcess[str]:
    """Run the tests of a file of this folder in the guest; takes most of a minute."""
    command = [_HERE / "alsa-guest", "env", "BAYLEAF_NO_SKIP=1", "PYTHONDONTWRITEBYTECODE=1", sys.executable]
    tests = ["-m", "pytest", "-p", "no:cacheprovider", str(_HERE / file)]
    environment = {**os.environ, "GUEST_TIMEOUT": "240"}
    root = _HERE.parent.parent
    # A busy host can let the emulated kernel stand still; only then may it try again: a test that failed has failed.
    for _ in range(3):
        done = subprocess.run(
            [*command, *tests], cwd=root, env=environment, capture_output=True, text=True, timeout=600, check=False
        )
        if done.returncode != _UNFINISHED:
            break
    return done
