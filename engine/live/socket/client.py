"""The shell's client for a running engine's socket, without trio."""

import contextlib
import json
import os
import re
import signal
import socket
import stat
import time
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import platformdirs

from engine.user_error import UserError

_APP: Final = "bayleaf"
_NAME: Final = re.compile(r"[A-Za-z0-9_-]{1,40}")
_PATIENCE: Final = 5.0  # seconds
_AGAIN: Final = 0.02  # seconds until a connection is tried again that too many others wait for
_ADDRESS: Final = 103  # bytes of a Unix socket's address that every system takes


class NoEngine(UserError):
    """No engine of this name answers; the text names the remedy."""


def socket_path(name: str) -> Path:
    """The socket of the engine of this name.

    Raises NoEngine for a name with other characters than allowed, and for a folder in which others could put a socket
    of their own.
    """
    if not _NAME.fullmatch(name):
        raise NoEngine(f'"{name}" cannot be an engine\'s name: use letters, digits, hyphen and underscore, up to 40')
    folder = _runtime_folder()
    _check_ours(folder.parent)
    return folder / f"{name}.sock"


def _runtime_folder() -> Path:
    if folder := os.environ.get("XDG_RUNTIME_DIR"):
        return Path(folder) / _APP
    with warnings.catch_warnings():  # platformdirs warns where it falls back; its fallback will do
        warnings.simplefilter("ignore")
        return Path(platformdirs.user_runtime_dir(_APP))


def _check_ours(folder: Path) -> None:
    """Raise NoEngine for a folder that another user owns or may write to (XDG Base Directory Specification)."""
    try:
        found = folder.stat()
    except OSError:  # whoever makes it or opens something in it will say so
        return
    where = f"the folder for the engine's socket, {folder},"
    if found.st_uid != os.getuid():
        raise NoEngine(f"{where} belongs to another user; set XDG_RUNTIME_DIR to a folder of your own")
    if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise NoEngine(f"{where} can be written to by other users; set XDG_RUNTIME_DIR to one with mode 700")


@contextlib.contextmanager
def address_of(path: Path) -> Iterator[str]:
    """A socket's path as an address to bind or connect to; a longer one goes by its open folder, where there is /proc.

    Raises OSError if that folder cannot be opened.
    """
    if len(os.fsencode(path)) <= _ADDRESS or not os.path.isdir("/proc/self/fd"):
        yield os.fspath(path)
        return
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)


def connected(path: Path, patience: float = _PATIENCE) -> socket.socket:
    """A connection to an engine's socket, which may wait as long as others come before it. Raises OSError."""
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(patience)
    until = time.monotonic() + patience
    try:
        with address_of(path) as address:
            while True:
                try:
                    connection.connect(address)
                    return connection
                except BlockingIOError:  # unix(7): too many wait to be taken
                    if time.monotonic() > until:
                        raise
                    time.sleep(_AGAIN)
    except OSError:
        connection.close()
        raise


def _connect(name: str, patience: float = _PATIENCE) -> socket.socket:
    try:
        return connected(socket_path(name), patience)
    except BlockingIOError:
        raise NoEngine(f'the engine named "{name}" has too many connections that wait; try again') from None
    except OSError:
        raise NoEngine(f'no engine named "{name}" is running{_instead(name)}') from None


def _instead(name: str) -> str:
    """What to do if no engine of this name is running: name one that is, or start one."""
    others = [file.stem for file in sorted(_runtime_folder().glob("*.sock")) if file.stem != name and _is_served(file)]
    if others:
        return f", but {' and '.join(others)} {'is' if len(others) == 1 else 'are'}; add --name {others[0]}"
    return f"; start one with: bayleaf run RIG{'' if name == _APP else f' --name {name}'}"


def _is_served(file: Path) -> bool:
    """Whether an engine has this socket open; one that was killed leaves it behind."""
    try:
        connected(file, _AGAIN).close()
    except OSError:
        return False
    return True


def ask(name: str, request: dict[str, Any], patience: float = _PATIENCE) -> dict[str, Any]:
    """One request, one answer within `patience` seconds. Raises NoEngine."""
    line = b""
    with contextlib.suppress(OSError), _connect(name, patience) as connection:
        connection.sendall(json.dumps(request).encode() + b"\n")
        with connection.makefile("rb") as talk:
            line = talk.readline()
    if not line.endswith(b"\n"):
        raise NoEngine(f'the engine named "{name}" did not answer')
    answer: dict[str, Any] = json.loads(line)
    return answer


def converse(name: str, request: dict[str, Any], patience: float) -> Iterator[dict[str, Any]]:
    """One request, and each line of its answer; the last one has "done".

    The first Ctrl-C asks the engine to stop cleanly, and its answer still comes; the second one ends this.
    `patience`: seconds without a line after which the engine counts as gone. Raises NoEngine.
    """
    with _connect(name, patience) as connection:

        def stop(*_: object) -> None:
            signal.signal(signal.SIGINT, before)
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_WR)

        before = signal.signal(signal.SIGINT, stop)
        try:
            yield from _lines_of_answer(name, connection, request)
        finally:
            signal.signal(signal.SIGINT, before)


def _lines_of_answer(name: str, connection: socket.socket, request: dict[str, Any]) -> Iterator[dict[str, Any]]:
    with contextlib.suppress(OSError):
        connection.sendall(json.dumps(request).encode() + b"\n")
        with connection.makefile("rb") as talk:
            for line in talk:
                if not line.endswith(b"\n"):
                    break
                answer: dict[str, Any] = json.loads(line)
                yield answer
                if "done" in answer:
                    return
    raise NoEngine(f'the engine named "{name}" ended before the work was done')


def watch(name: str) -> Iterator[dict[str, Any]]:
    """The messages that pass ("events") and the state of the clock ("sync"), in batches, until the engine ends.

    Raises NoEngine if there is none at the start.
    """
    with _connect(name) as connection, contextlib.suppress(OSError):
        connection.sendall(b'{"do": "watch"}\n')
        with connection.makefile("rb") as talk:
            for line in talk:
                if line.endswith(b"\n"):  # the last one may be cut short
                    yield json.loads(line)
