"""The Python baselines of part `jack`, each a process of its own: `python -m bench.forwarders bare|mido NAME`.

Ports "in0", "out0" … of plain python-rtmidi on JACK, a thread that polls them, and a table or mido objects. Plays
until its standard input ends. Asks for real-time scheduling as `bayleaf run` does, so that this is no difference.
"""

import sys
import threading
import time
from typing import Any

import rtmidi

from bench.forward import POLL, bare_way, mido_way, table_of
from bench.load import INPUTS, OUTPUTS
from engine.live.hygiene import collector_at_rest
from engine.live.priority import going_first


class Sending:
    """An output."""

    def __init__(self, name: str, index: int) -> None:
        self._port = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"{name}-out{index}")
        self._port.open_virtual_port(f"out{index}")
        self.send = self._port.send_message


def hearing(name: str, index: int) -> Any:
    """An input."""
    port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f"{name}-in{index}", queue_size_limit=8192)
    port.ignore_types(False, False, False)
    port.open_virtual_port(f"in{index}")
    return port


def main() -> None:
    """Forward."""
    kind, name = sys.argv[1:]
    outputs: Any = [Sending(name, index) for index in range(OUTPUTS)]
    inputs = [hearing(name, index).get_message for index in range(INPUTS)]
    table = table_of(INPUTS, outputs)
    forward = bare_way(table) if kind == "bare" else mido_way(table)
    over = threading.Event()
    with going_first(), collector_at_rest():
        threading.Thread(target=lambda: (sys.stdin.read(), over.set()), daemon=True).start()
        while not over.is_set():
            for source, get in enumerate(inputs):
                while (event := get()) is not None:
                    forward(source, bytes(event[0]))
            time.sleep(POLL)


if __name__ == "__main__":
    main()
