"""Closes ports of its own again and again; tests/real/test_jack_closing.py runs it with JACK threads that are late.

Argument: how often. Prints "closed" at the end; a crash of the library ends the process before.
"""

import sys

from engine.ports.jack_system import JackSystem
from engine.ports.port import InputPort, OutputPort


def main(times: int) -> None:
    """Open and close an input and two outputs, this many times."""
    system = JackSystem("bayleaf")
    ports: list[InputPort | OutputPort]
    for _ in range(times):
        ports = [system.open_virtual_input("keys"), system.open_virtual_output("strings")]
        ports.append(system.open_virtual_output("brass"))
        for port in ports:
            port.close()
    system.close()
    print("closed")


if __name__ == "__main__":
    main(int(sys.argv[1]))
