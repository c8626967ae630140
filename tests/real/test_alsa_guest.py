"""The ALSA sequencer is Linux's own backend, and few test machines have one: a small virtual machine does."""

import os
import re
import subprocess
import sys
from pathlib import Path

from conftest import need

HERE = Path(__file__).parent
UNFINISHED = 124  # the guest's own status when it ran out of time


def test_ports_on_the_alsa_sequencer() -> None:
    """All that alsa_inside.py says holds on a real ALSA sequencer, and nothing in it was left out."""
    need("qemu-system-x86_64")
    command = [HERE / "alsa-guest", "env", "BAYLEAF_NO_SKIP=1", "PYTHONDONTWRITEBYTECODE=1", sys.executable]
    tests = ["-m", "pytest", "-p", "no:cacheprovider", str(HERE / "alsa_inside.py")]
    environment = {**os.environ, "GUEST_TIMEOUT": "240"}
    root = HERE.parent.parent
    # A busy host can let the emulated kernel stand still; only then may it try again: a test that failed has failed.
    for _ in range(3):
        done = subprocess.run(
            [*command, *tests], cwd=root, env=environment, capture_output=True, text=True, timeout=600, check=False
        )
        if done.returncode != UNFINISHED:
            break
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\b[1-9]\d* passed\b", done.stdout), done.stdout
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", done.stdout), done.stdout
