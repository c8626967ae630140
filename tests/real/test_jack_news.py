"""When JACK's news is waited for. Read in the sources of JACK 1.9.21 and measured; nothing written promises it."""

import ctypes
import time
from typing import Any

import pytest

from engine.ports import jacksystem
from engine.ports.jackserver import JackServer
from engine.ports.systemport import make_device

_LATE = 0.5  # seconds; the server waits some for an answer
_hear_news = JackServer._hear_news


def test_a_port_is_made_when_we_know_which_clients_have_gone(jack_server: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who hears late that a client has gone takes the next one for it, which then crashes: none is made before."""
    servers: list[JackServer] = []
    heard: list[bytes] = []
    known: list[list[bytes]] = []  # whenever a client is made

    @ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
    def hear(name: bytes, came: int, _: object) -> None:  # a thread of the library
        if not came:
            time.sleep(_LATE)
            heard.append(name)

    def hear_late(server: JackServer) -> None:
        notify = server._jack.jack_set_client_registration_callback
        notify.argtypes = [ctypes.c_void_p, type(hear), ctypes.c_void_p]
        assert notify(server._client, hear, None) == 0
        servers.append(server)
        _hear_news(server)

    def make(*how: Any) -> Any:
        known.append(heard.copy())
        return make_device(*how)

    monkeypatch.setattr(jacksystem, "make_device", make)
    monkeypatch.setattr(JackServer, "_hear_news", hear_late)
    system = jacksystem.JackSystem("bayleaf")
    system.open_virtual_input("keys").close()
    system.open_virtual_input("strings").close()
    servers[0].spread_news()  # that thread must not be in Python when it is cancelled
    system.close()
    assert known == [[], [b"bayleaf-in-keys"]]
