"""The name of a running engine: a local socket and a lock file, which one process at a time can hold."""

import errno
import fcntl
import os
import socket
import stat
from pathlib import Path
from typing import IO, NamedTuple

from engine.live.socket.client import address_of, socket_path


class NameTaken(Exception):
    """Another engine of this name is running."""


class InstanceLock(NamedTuple):
    """A name that is ours while `lock` is open. `crashed`: the last engine of this name was not shut down cleanly."""

    listener: socket.socket
    path: Path
    lock: IO[bytes]
    crashed: bool

    def release(self) -> None:
        """Give the name up."""
        self.listener.close()
        self.path.unlink(missing_ok=True)
        self.lock.close()


def claim_socket(name: str) -> InstanceLock:
    """A listening socket for the engine of this name. A socket left over from a crash is replaced.

    Raises NameTaken if an engine of this name runs, OSError if the folder cannot be used, NoEngine as `socket_path`.
    """
    path = socket_path(name)
    for folder in (path.parent.parent, path.parent):  # `parents` alone would leave the upper one open to others
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.parent.stat().st_uid != os.getuid() or stat.S_IMODE(path.parent.stat().st_mode) & 0o077:
        os.chmod(path.parent, 0o700)  # raises if it belongs to another user
    lock = path.with_suffix(".lock").open("ab")
    try:
        # the system releases it when this process ends, however it ends
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise NameTaken(f'an engine named "{name}" is running; give this one another with --name NAME') from None
    crashed = path.is_socket()
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        path.unlink(missing_ok=True)
        with address_of(path) as address:
            listener.bind(address)
        os.chmod(path, 0o600)
        listener.listen(16)
    except OSError as fault:
        listener.close()
        lock.close()
        if fault.errno is None:  # raised by Python itself, without an error number
            text = "the path is too long; set XDG_RUNTIME_DIR to a shorter folder"
            raise OSError(errno.ENAMETOOLONG, text, os.fspath(path)) from None
        raise
    return InstanceLock(listener, path, lock, crashed)
