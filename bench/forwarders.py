"""The Python baselines of parts `jack` and `onjack`, each a process of its own.

    python -m bench.forwarders bare|mido|script|clock NAME [INPUTS OUTPUTS]

Ports "in0", "out0" … on JACK. `bare` and `mido`: plain python-rtmidi, a thread that polls it, and a table or mido
objects. `script`: mido's own ports with a callback each, as its handbook shows. `clock`: a loop that sleeps until each
clock is due. They play until their standard input
ends, and ask for real-time scheduling as `bayleaf run` does, so that this is no difference.
"""

import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import mido
import rtmidi

from bench.forward import POLL, bare_way, mido_way, table_of
from bench.load import INPUTS, OUTPUTS, outputs_of
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import going_first


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


def polled(kind: str, name: str, over: threading.Event, ins: int, outs: int) -> None:
    """A thread that polls."""
    outputs: Any = [Sending(name, index) for index in range(outs)]
    inputs = [hearing(name, index).get_message for index in range(ins)]
    table = table_of(ins, outputs)
    forward = bare_way(table) if kind == "bare" else mido_way(table)
    with collector_at_rest():
        while not over.is_set():
            for source, get in enumerate(inputs):
                while (event := get()) is not None:
                    forward(source, bytes(event[0]))
            time.sleep(POLL)


def clock(name: str, over: threading.Event) -> None:
    """120 beats per minute."""
    output, begin, number = Sending(name, 0), time.monotonic(), 0
    while not over.is_set():
        time.sleep(max(0.0, begin + number / 48 - time.monotonic()))
        output.send(b"\xf8")
        number += 1


def script(name: str, over: threading.Event) -> None:
    """What mido's handbook shows: an octave up, the next channel."""
    outputs = [
        mido.open_output(f"out{i}", virtual=True, api="UNIX_JACK", client_name=f"{name}-out{i}") for i in range(OUTPUTS)
    ]

    def forwarding(source: int) -> Callable[[mido.Message], None]:
        sinks = [outputs[output] for output in outputs_of(source)]

        def forward(message: mido.Message) -> None:
            if message.type in ("note_on", "note_off"):
                message = message.copy(note=message.note + 12)
            message = message.copy(channel=(source + 1) % 16)
            for sink in sinks:
                sink.send(message)

        return forward

    inputs = [
        mido.open_input(f"in{i}", callback=forwarding(i), virtual=True, api="UNIX_JACK", client_name=f"{name}-in{i}")
        for i in range(INPUTS)
    ]
    over.wait()
    assert inputs  # they play as long as they are referenced


def _wait_for_the_end(over: threading.Event) -> None:
    """Until standard input is closed."""
    sys.stdin.read()
    over.set()


def main() -> None:
    """Forward."""
    kind, name, *counts = sys.argv[1:]
    ins, outs = map(int, counts or (INPUTS, OUTPUTS))
    over = threading.Event()
    with going_first():
        threading.Thread(target=_wait_for_the_end, args=(over,), daemon=True).start()
        if kind == "script":
            script(name, over)
        elif kind == "clock":
            clock(name, over)
        else:
            polled(kind, name, over, ins, outs)


if __name__ == "__main__":
    main()
