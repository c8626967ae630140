"""The conformance suite's lines on the system's ports; the other ends are plain python-rtmidi."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import rtmidi

from engine.ports.port import PortSystem
from tests.support.engine_process import joined
from tests.support.port_conformance import Line
from tests.support.waiting import until


@contextmanager
def system_line(
    make: Callable[[str], PortSystem], api: int, carries: int, holds: int, patience: float
) -> Iterator[Line]:
    """One virtual input and one virtual output, each connected from outside; `make` joins the system under a name."""
    system = make("bayleaf")
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")

    def ours(port: str) -> bool:
        return "bayleaf" in port

    try:
        with (
            joined(rtmidi.MidiOut, api, "stand", ours) as stand,
            joined(rtmidi.MidiIn, api, "ear", ours) as listener,
        ):
            yield Line(
                source, output, stand.send_message, hearing(listener), carries=carries, holds=holds, patience=patience
            )
    finally:
        source.close()
        output.close()
        system.close()


@contextmanager
def joined_line(
    make: Callable[[str], PortSystem], api: int, carries: int, holds: int, patience: float
) -> Iterator[Line]:
    """Two ports of another program, which can go away; ours connect to them."""
    system = make("bayleaf")
    piano, box = rtmidi.MidiOut(api, name="Stage piano"), rtmidi.MidiIn(api, name="Box", queue_size_limit=8192)
    box.ignore_types(False, False, False)
    piano.open_virtual_port("out")
    box.open_virtual_port("in")
    ends = [piano, box]

    def pull() -> None:
        while ends:
            ends.pop().delete()

    source, output = system.open_input("Stage piano*:out"), system.open_output("Box*:in")
    try:
        _settle(piano.send_message, lambda: b"".join(source.poll()))
        _settle(output.send, hearing(box))
        yield Line(
            source, output, piano.send_message, hearing(box), pull, carries=carries, holds=holds, patience=patience
        )
    finally:
        pull()
        source.close()
        output.close()
        system.close()


def hearing(listener: Any) -> Callable[[], bytes]:
    """What an rtmidi input received since the last call."""

    def heard() -> bytes:
        data = b""
        while (event := listener.get_message()) is not None:
            data += bytes(event[0])
        return data

    return heard


def _settle(play: Callable[[bytes], object], heard: Callable[[], bytes]) -> None:
    """A new connection may carry nothing at first: play until something arrives, then wait for the last of it."""
    until("a connection", lambda: (play(b"\xfe"), heard())[1])
    play(b"\xf6")
    until("the last of it", lambda: heard().endswith(b"\xf6"))
