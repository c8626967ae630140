"""The conformance suite on a real JACK server, through one client and through python-rtmidi."""

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
import rtmidi

from tests.support.jack_systems import BOTH, JackPorts
from tests.support.port_conformance import CHECKS, Line
from tests.support.rtmidi_lines import joined_line, system_line


@pytest.mark.parametrize("system", BOTH)
@pytest.mark.parametrize("make", [system_line, joined_line], ids=["ours", "theirs"])
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_port(
    jack_server: str,
    system: Callable[[str], JackPorts],
    make: Callable[..., AbstractContextManager[Line]],
    check: Callable[[Line], None],
) -> None:
    """A port on JACK, one of our own or one that we connected to, passes the conformance suite."""
    with make(system, rtmidi.API_UNIX_JACK, carries=16_379, holds=8191, patience=20.0) as line:
        check(line)
