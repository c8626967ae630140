"""JACK's dummy servers for the tests; a child process may start one, too."""

import os
import shutil
import subprocess
import time
from pathlib import Path
from typing import Final

# JACK has a register of eight servers' names, which killed ones stay in: use few, fixed ones. The second of two workers
# has its own.
_WORKER = os.environ.get("PYTEST_XDIST_WORKER", "").removeprefix("gw0")
SERVER = f"bayleaf-tests{_WORKER}"
MORTAL = f"bayleaf-mortal{_WORKER}"

#: What all servers of a user know about ports. One that is killed while it writes leaves it half made, and the others
#: then wait for it for ever, as soon as a port is closed.
_PROPERTIES: Final = Path(f"/dev/shm/jack_db-{os.getuid()}")


def _start(name: str, *scheduling: str) -> subprocess.Popen[bytes] | None:
    command = ["jackd", "-n", name, *scheduling, "-d", "dummy", "-r", "48000", "-p", "512"]
    shutil.rmtree(_PROPERTIES, ignore_errors=True)
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(100):
        time.sleep(0.05)  # between two looks, each a process
        if process.poll() is not None:
            return None
        if subprocess.run(["jack_lsp", "-s", name], capture_output=True, check=False).returncode == 0:
            return process
    process.kill()
    process.wait()
    return None


def start_as_granted(name: str) -> subprocess.Popen[bytes]:
    """JACK's dummy server under this name, once it answers."""
    # with real-time scheduling the server misses no cycle; not every system grants it
    process = _start(name, "-R", "-P", "30") or _start(name, "-r")
    assert process is not None, "jackd did not start"
    return process
