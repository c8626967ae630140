"""Opens the ports of a backend, byte devices and keyboards: all that other packages need of the adapters."""

import sys
from collections.abc import Callable, Sequence
from typing import Final

from engine.ports.byte_device import open_device_input, open_device_output
from engine.ports.keyboards import keyboards, open_keyboard
from engine.ports.memory import MemorySystem
from engine.ports.port import NotRunning, PortError, PortSystem
from engine.ports.port_names import plain

BACKENDS: Final = ("alsa", "jack", "coremidi", "winmm", "memory")
_USUAL: Final = {"linux": "alsa", "darwin": "coremidi", "win32": "winmm"}
_NEITHER: Final = (
    "this system has no ALSA sequencer, and no JACK server is running; load ALSA's (modprobe snd-seq), or start JACK"
)

__all__ = [
    "BACKENDS",
    "keyboards",
    "lasting",
    "open_device_input",
    "open_device_output",
    "open_keyboard",
    "open_system",
]


def lasting(backend: str | None, names: Sequence[str]) -> list[str]:
    """The names of these ports of a backend, without the part that changes at each replug."""
    return [plain(name, _chosen(backend) == "winmm") for name in names]  # whose names end in an index


def _chosen(backend: str | None) -> str:
    return backend or _USUAL.get(sys.platform, "alsa")


def open_system(backend: str | None, client_name: str, say: Callable[[str], None] = lambda text: None) -> PortSystem:
    """The ports of a backend; None: this system's usual one.

    Where that is ALSA, and this system has none, a JACK server that is running takes its place, and `say` gets a
    sentence about it. Raises PortError if the backend is unknown or does not answer, NotRunning if it is not there.
    """
    chosen = _chosen(backend)
    if chosen == "memory":
        return MemorySystem(client_name)  # the others are imported only when they are needed, for they need a driver
    if chosen not in BACKENDS:
        raise PortError(f'there is no backend "{chosen}"; there are {", ".join(BACKENDS)}')
    if chosen == "jack":
        return _jack(client_name)
    from engine.ports.rtmidi_system import NoSequencer, RtmidiSystem

    try:
        return RtmidiSystem(chosen, client_name)
    except NoSequencer:
        if backend is not None:
            raise
    try:
        system = _jack(client_name)
    except PortError:
        raise NotRunning(_NEITHER) from None
    say("no ALSA sequencer on this system; using the JACK server that is running")
    return system


def _jack(client_name: str) -> PortSystem:
    """Through one client, if it was compiled and finds JACK's library; otherwise through python-rtmidi."""
    try:
        from engine.ports.jack_client.system import OneClientSystem

        return OneClientSystem(client_name)
    except ImportError:
        from engine.ports.jack_system import JackSystem

        return JackSystem(client_name)
