"""An own /dev/shm for a process and its children, where the system grants it.

JACK has its sockets there, by the client's name alone: two clients of one name on two servers would take each other's
messages. It has the register of servers there, too, and what all servers know about ports.
"""

import ctypes
import subprocess
from typing import Final

_NEW_MOUNTS: Final = 0x0002_0000  # CLONE_NEWNS of sched.h
_COMMANDS: Final = (("mount", "--make-rprivate", "/"), ("mount", "-t", "tmpfs", "tmpfs", "/dev/shm"))


def own_shared_memory() -> bool:
    """From here on /dev/shm is empty for this thread and what it starts; False if that is not granted."""
    if ctypes.CDLL(None).unshare(_NEW_MOUNTS):
        return False
    return all(subprocess.run(command, check=False, capture_output=True).returncode == 0 for command in _COMMANDS)
