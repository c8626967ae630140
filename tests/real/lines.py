"""The conformance suite's lines on the system's ports: ours are virtual, the other ends plain python-rtmidi."""

from collections.abc import Iterator
from contextlib import contextmanager

import rtmidi
from conformance import Line
from stagehand import joined

from engine.ports.system import System


@contextmanager
def system_line(backend: str, api: int, carries: int, patience: float) -> Iterator[Line]:
    """One virtual input and one virtual output, each joined from outside."""
    system = System(backend, "bayleaf")
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")

    def ours(port: str) -> bool:
        return "bayleaf" in port

    try:
        with (
            joined(rtmidi.MidiOut, api, "stand", ours) as stand,
            joined(rtmidi.MidiIn, api, "ear", ours) as ear,
        ):

            def heard() -> bytes:
                data = b""
                while (event := ear.get_message()) is not None:
                    data += bytes(event[0])
                return data

            yield Line(source, output, stand.send_message, heard, carries=carries, patience=patience)
    finally:
        source.close()
        output.close()
        system.close()
