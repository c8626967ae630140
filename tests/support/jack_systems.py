"""Both ways to JACK's ports: through one client of our own, and through python-rtmidi."""

from typing import Final, Protocol

import pytest

from engine.ports.jack_system import JackSystem
from engine.ports.port import PortSystem
from tests.support.needed import need_module


class JackPorts(PortSystem, Protocol):
    """A PortSystem on JACK."""

    @property
    def stranded(self) -> bool:
        """See OnJack."""


def one_client(name: str) -> JackPorts:
    """JACK through one client, where it is compiled."""
    need_module("engine.ports.jack_client.native")
    from engine.ports.jack_client.system import OneClientSystem

    return OneClientSystem(name)


def through_rtmidi(name: str) -> JackPorts:
    """JACK through python-rtmidi, a client for each port."""
    return JackSystem(name)


BOTH: Final = (pytest.param(one_client, id="one client"), pytest.param(through_rtmidi, id="rtmidi"))
