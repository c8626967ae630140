"""Another program on the JACK server hangs, and holds up whatever is changed there.

Measured: JACK 1.9.21 waits two seconds for it, twice for each change of connections; all other messages go on.
"""

import signal
import subprocess
from collections.abc import Iterator

import pytest

from tests.support.jack_systems import JackPorts, one_client
from tests.support.needed import need_module
from tests.support.paths import process_of
from tests.support.waiting import until, until_there_are

NOTE = b"\x90\x40\x40"


@pytest.fixture
def program(jack_server: str) -> Iterator[subprocess.Popen[str]]:
    """That program, running."""
    need_module("engine.ports.jack_client.native")
    command = process_of("jack_program_that_hangs")
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "there\n"
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.fixture
def system(program: subprocess.Popen[str]) -> Iterator[JackPorts]:
    """Our ports, under the name "bayleaf"."""
    system = one_client("bayleaf")
    yield system
    system.close()


def test_nothing_is_lost_and_nothing_left(system: JackPorts, program: subprocess.Popen[str]) -> None:
    """While it is stopped, ports are closed and notes pass; once it runs again, what was closed is gone, and ports are
    opened as before."""
    ears = one_client("ears")
    played, leaving = system.open_virtual_output("strings"), system.open_output("held:hear")
    heard = ears.open_input("bayleaf:out:strings")

    def arrived() -> list[bytes]:
        played.send(NOTE)  # a connection may be there before it carries
        return heard.poll()

    until("a note", arrived)
    program.send_signal(signal.SIGSTOP)
    leaving.close()
    notes, found = [bytes((0x91, number, 1)) for number in range(100)], list[bytes]()
    for note in notes:
        played.send(note)
    until_there_are(len(notes), found, lambda: [each for each in heard.poll() if each != NOTE])
    program.send_signal(signal.SIGCONT)
    keys = system.open_virtual_input("keys")
    ours = {played.name, keys.name}
    until("nothing left", lambda: {name for name in ears.inputs() + ears.outputs() if "bayleaf" in name} == ours)
    for port in (played, heard, keys):
        port.close()
    ears.close()
    assert found == notes
