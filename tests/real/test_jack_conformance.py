"""The conformance suite on a real JACK server."""

from collections.abc import Callable

import pytest
import rtmidi
from conformance import CHECKS, Line
from lines import system_line


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_port(jack_server: str, check: Callable[[Line], None]) -> None:
    """A port on JACK does what conformance.py says."""
    with system_line("jack", rtmidi.API_UNIX_JACK, carries=16_379, patience=20.0) as line:
        check(line)
