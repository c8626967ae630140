"""Counts the periods in which a JACK server did not wait for one of its clients, whichever it was.

What such a client was sent in that period is lost before anybody has it, and what it had written is not passed on. No
program can do anything about it; a test that judges what arrives has to know of it.
"""

import ctypes
import ctypes.util
from typing import Any, Self

_NO_START = 1  # JackNoStartServer
_Called = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)


class MissedPeriods:
    """A client of its own that the server tells of each; the default server, as JACK_DEFAULT_SERVER says."""

    def __init__(self) -> None:
        """Raises AssertionError if there is no such server."""
        self.count = 0
        self._jack = _library()
        self._called = _Called(self._note)  # JACK keeps no reference
        self._client = self._jack.jack_client_open(b"missed periods", _NO_START, None)
        assert self._client, "no JACK server"
        assert self._jack.jack_set_xrun_callback(self._client, self._called, None) == 0
        assert self._jack.jack_activate(self._client) == 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._jack.jack_client_close(self._client)

    def _note(self, _: object) -> int:
        self.count += 1
        return 0


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
