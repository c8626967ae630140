"""Asks at each output of a system which device is there, before there is a rig: for `bayleaf new`."""

import contextlib
import time
from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from engine.instruments.device_inquiry import Identity, asks, read_reply, request
from engine.ports.port import InputPort, PortError, PortSystem

_ROUND: Final = 0.002  # seconds


class PortAnswer(NamedTuple):
    """What came in at an input when an output was asked: an identity, or None for the question itself: a loop."""

    output: str
    input: str
    identity: Identity | None


def survey(system: PortSystem, inputs: Sequence[str], outputs: Sequence[str], seconds: float) -> list[PortAnswer]:
    """All answers. Outputs are asked one after the other, `seconds` for each, so that each answer has its output.

    Ports are given by the system's names; those that cannot be opened are left out. Blocks.
    """
    heard: dict[str, InputPort] = {}
    try:
        for name in inputs:
            with contextlib.suppress(PortError):
                heard[name] = system.open_input(name)
        return [answer for name in outputs for answer in _ask(system, name, heard, seconds)]
    finally:
        for port in heard.values():
            port.close()


def _ask(system: PortSystem, name: str, heard: Mapping[str, InputPort], seconds: float) -> Iterator[PortAnswer]:
    for _ in _arrived(heard):  # what came before the question is no answer
        pass
    with contextlib.suppress(PortError), contextlib.closing(system.open_output(name)) as output:
        output.send(request())
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            for source, message in _arrived(heard):
                identity = read_reply(message)
                if identity is not None or asks(message):
                    yield PortAnswer(name, source, identity)
            time.sleep(_ROUND)


def _arrived(heard: Mapping[str, InputPort]) -> Iterator[tuple[str, bytes]]:
    for name, port in heard.items():
        with contextlib.suppress(PortError):
            for message in port.poll():
                yield name, message
