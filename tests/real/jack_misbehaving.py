"""Run by test_jack_ports.py: what a process lives through whose JACK server freezes or dies. Prints what happened."""

import os
import signal
import sys
import time

from engine.ports.port import PortError
from engine.ports.system import System

NOTE = b"\x90\x40\x40"


def refusals(send, seconds: float) -> int:
    """Send as fast as it goes; how often was it refused?"""
    refused = 0
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            send(NOTE)
        except PortError:
            refused += 1
    return refused


def freeze(server: int) -> None:
    """Send into a server that stands still, for far longer than its ring holds out."""
    system = System("jack", "bayleaf")
    output = system.open_virtual_output("strings")
    os.kill(server, signal.SIGSTOP)
    print("refused" if refusals(output.send, 1.0) else "never refused")
    os.kill(server, signal.SIGCONT)
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            output.send(NOTE)
        except PortError:
            time.sleep(0.01)
        else:
            print("sends again")
            break
    output.close()
    system.close()


def kill(server: int) -> None:
    """Send until the server's death is told; then read, list and close."""
    system = System("jack", "bayleaf")
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")
    os.kill(server, signal.SIGKILL)
    end = time.monotonic() + 20
    for use in (lambda: output.send(NOTE), source.poll, system.inputs):
        while time.monotonic() < end:
            try:
                use()
            except PortError as fault:
                if "is full" not in str(fault):
                    print(fault)
                    break
    for thing in (output, source, system):
        thing.close()
    print("closed")


if __name__ == "__main__":
    {"freeze": freeze, "kill": kill}[sys.argv[1]](int(sys.argv[2]))
