"""A real JACK server freezes, dies and comes back, under ports in a process of their own (jack_misbehaving)."""

import os
import signal
import subprocess
import threading

import pytest

from tests.support.jack_servers import MORTAL
from tests.support.needed import need_module
from tests.support.paths import process_of

WAYS = pytest.mark.parametrize("way", ["one_client", "through_rtmidi"])


def _misbehave(way: str, what: str, server: subprocess.Popen[bytes]) -> str:
    """Run one part of `jack_misbehaving` in a process of its own, which must end."""
    if way == "one_client":
        need_module("engine.ports.jack_client.native")
    environment = {**os.environ, "JACK_DEFAULT_SERVER": MORTAL, "JACK_NO_START_SERVER": "1"}
    command = [*process_of("jack_misbehaving"), way, what, str(server.pid)]
    threading.Thread(target=server.wait, daemon=True).start()  # a dead server that was not waited for keeps its name
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    return done.stdout


@WAYS
def test_a_frozen_server_does_not_freeze_us(mortal_jack: subprocess.Popen[bytes], way: str) -> None:
    """While the server is frozen a sender keeps being refused; it can send again once the server runs."""
    try:
        assert _misbehave(way, "freeze", mortal_jack) == "refused\nsends again\n"
    finally:
        mortal_jack.send_signal(signal.SIGCONT)


@WAYS
def test_a_killed_server_is_reported(mortal_jack: subprocess.Popen[bytes], way: str) -> None:
    """When the server dies during sending, every port raises and all of them close."""
    said = "the JACK server has stopped; its ports come back when it does\n"
    assert _misbehave(way, "kill", mortal_jack) == said * 3 + "closed\n"


@WAYS
def test_a_server_that_comes_back_is_joined_again(mortal_jack: subprocess.Popen[bytes], way: str) -> None:
    """Three times in one process: the server dies, ports raise and close, it starts again, ports carry messages."""
    carried = "heard\nheard\n"
    assert _misbehave(way, "come back", mortal_jack) == carried + (carried + "as before\n") * 3 + "closed\n"


@WAYS
def test_a_server_that_dies_under_an_opening_is_noticed(mortal_jack: subprocess.Popen[bytes], way: str) -> None:
    """A server that dies while ports are being opened blocks neither the process nor the return to a new server."""
    assert _misbehave(way, "die in the middle", mortal_jack) == "joined again\n" * 16
