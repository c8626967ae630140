"""Counts the periods in which a JACK server did not wait for one of its clients, whichever it was.

What such a client was sent in that period is lost before anybody has it, and what it had written is not passed on. No
program can do anything about it; a test that judges what arrives has to know of it.

It is a process of its own, `python -m tests.support.jack_missed`, which writes a byte when it is there and one for each
period. In the tests' own process the server would wait for our answer, our answer for the interpreter's lock, and what
has that, as python-rtmidi does while it opens a port, for the server.
"""

import ctypes
import ctypes.util
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final, TypeVar

from tests.support.waiting import until

T = TypeVar("T")

TRIES: Final = 20
_TOLD_WITHIN: Final = 0.5  # seconds
_NO_START = 1  # JackNoStartServer
_LEAVING = 5.0  # seconds; whoever ends without leaving is noticed by the server
_Called = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)


@contextmanager
def missed_periods() -> Iterator[Callable[[], int]]:
    """Inside the block: how many there were since it began, on the default server, as JACK_DEFAULT_SERVER says."""
    command = [sys.executable, "-m", "tests.support.jack_missed"]
    with (
        tempfile.TemporaryFile() as written,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=written),  # it ends with its input, and that here
    ):

        def count() -> int:
            return os.fstat(written.fileno()).st_size - 1

        until("the client that counts missed periods", lambda: count() >= 0)
        yield count


def were_missed(missed: Callable[[], int], before: int) -> bool:
    """Whether there were any since `before`; the server tells of one somewhat later than it is felt."""
    end = time.monotonic() + _TOLD_WITHIN
    while missed() == before:
        if time.monotonic() > end:
            return False
        time.sleep(0.01)
    return True


def carried(missed: Callable[[], int], trial: Callable[[], T]) -> T:
    """What a trial brings; one that fails is made again, but only if the server missed a period in it."""
    for _ in range(TRIES - 1):
        before = missed()
        try:
            return trial()
        except AssertionError:
            if not were_missed(missed, before):
                raise
    return trial()


def _library() -> Any:
    name = ctypes.util.find_library("jack")
    assert name is not None, "libjack is missing"
    jack = ctypes.CDLL(name)
    jack.jack_client_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
    jack.jack_client_open.restype = ctypes.c_void_p
    jack.jack_set_xrun_callback.argtypes = [ctypes.c_void_p, _Called, ctypes.c_void_p]
    for function in (jack.jack_activate, jack.jack_client_close):
        function.argtypes = [ctypes.c_void_p]
    return jack


def _write(_: object) -> int:
    os.write(sys.stdout.fileno(), b"x")
    return 0


def main() -> None:
    """Until the input ends."""
    jack, called = _library(), _Called(_write)
    client = jack.jack_client_open(b"missed periods", _NO_START, None)
    assert client, "no JACK server"
    assert jack.jack_set_xrun_callback(client, called, None) == 0
    assert jack.jack_activate(client) == 0
    _write(None)
    sys.stdin.read()
    # the library reads no notices once it is about to leave: a server that is stuck in one of them never answers
    leaving = threading.Thread(target=jack.jack_client_close, args=(client,), daemon=True)
    leaving.start()
    leaving.join(_LEAVING)
    os._exit(0)  # else the library may call Python while that ends


if __name__ == "__main__":
    main()
