"""The ALSA sequencer is Linux's own backend, and few test machines have one: a small virtual machine does."""

import re
import subprocess
from concurrent.futures import Future

from conftest import need
from guest import QEMU


def test_ports_on_the_alsa_sequencer(guest: "Future[subprocess.CompletedProcess[str]] | None") -> None:
    """All that alsa_inside.py says holds on a real ALSA sequencer, and nothing in it was left out."""
    need(QEMU)
    assert guest is not None
    done = guest.result()
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\b[1-9]\d* passed\b", done.stdout), done.stdout
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", done.stdout), done.stdout
