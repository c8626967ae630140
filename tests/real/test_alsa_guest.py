"""The ALSA sequencer is Linux's own backend, and few test machines have one: a small virtual machine does."""

import os
import re
import subprocess
import sys
from pathlib import Path

from conftest import need

HERE = Path(__file__).parent


def test_ports_on_the_alsa_sequencer() -> None:
    """All that alsa_inside.py says holds on a real ALSA sequencer, and nothing in it was left out."""
    need("qemu-system-x86_64")
    command = [HERE / "alsa-guest", "env", "BAYLEAF_NO_SKIP=1", "PYTHONDONTWRITEBYTECODE=1", sys.executable]
    tests = ["-m", "pytest", "-p", "no:cacheprovider", str(HERE / "alsa_inside.py")]
    environment = {**os.environ, "GUEST_TIMEOUT": "900"}
    root = HERE.parent.parent
    done = subprocess.run(
        [*command, *tests], cwd=root, env=environment, capture_output=True, text=True, timeout=1000, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\b[1-9]\d* passed\b", done.stdout), done.stdout
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", done.stdout), done.stdout
