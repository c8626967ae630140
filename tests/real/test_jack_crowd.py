"""Other programs' ports come and go on a real JACK server, as on a stage that is being plugged together."""

import subprocess
import sys

from engine.ports.jack_system import JackSystem

COMING_AND_GOING = """
import rtmidi
while True:
    ports = [rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"Guest {number}") for number in range(4)]
    for port in ports:
        port.open_virtual_port("out")
    print(flush=True)
    for port in ports:
        port.delete()
"""


def test_ports_that_come_and_go_while_they_are_listed(jack_server: str) -> None:
    """The list of ports is complete, though other programs' ports vanish between counting them and reading their names;
    a port that stays is in it each time."""
    ours, theirs = JackSystem("bayleaf"), JackSystem("Stage piano")
    stays = theirs.open_virtual_output("out")
    command = [sys.executable, "-c", COMING_AND_GOING]
    guests = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    try:
        assert guests.stdout is not None
        for _ in range(20):
            guests.stdout.readline()
            for _ in range(200):
                assert stays.name in ours.inputs()
    finally:
        guests.kill()
        guests.communicate()
        stays.close()
        theirs.close()
        ours.close()
