"""Writes what other machines send a rig: show control, machine control, and requests in our own SysEx.

Bayleaf itself only reads these. Layouts: RP-002 2.1 and 4.3, RP-013; our own: DEVELOPERS.md, "Our own SysEx".
"""

from typing import Final

from engine.core.control.remote_messages import RouteRequest, own, seven
from engine.midi import machine_control as machine
from engine.midi import show_control as show

_SHOW: Final = {name: code for code, name in show.COMMANDS.items()}
_MACHINE: Final = {name: code for code, name in machine.COMMANDS.items()}
_WITHOUT_DATA: Final = {
    "next": 0x02,
    "back": 0x03,
    "panic": 0x04,
    "ask scene": 0x05,
    "ask routing": 0x06,
    "ask backup": 0x08,
}


def show_control(said: show.ShowControl) -> bytes:
    """The message that says this."""
    fields = [field.encode("ascii") for field in (said.cue, said.cue_list, said.path) if field is not None]
    data = said.settings + b"\x00".join(fields)
    return bytes((0xF0, 0x7F, said.device, 0x02, said.format, _SHOW[said.command], *data, 0xF7))


def machine_control(said: machine.MachineControl) -> bytes:
    """The message that says this."""
    if said.target is None:
        return bytes((0xF0, 0x7F, said.device, 0x06, _MACHINE[said.command], 0xF7))
    hours, minutes, seconds, frames = said.target.parts
    place = (hours | said.target.rate.code << 5, minutes, seconds, frames, said.hundredths)
    return bytes((0xF0, 0x7F, said.device, 0x06, 0x44, 0x06, 0x01, *place, 0xF7))


def recall_request(device: int, scene: int) -> bytes:
    """Recall the scene of this number."""
    return own(device, 0x01, seven(scene, 3))


def route_request(device: int, route: RouteRequest) -> bytes:
    """Set a route of the scene in force on or off."""
    return own(device, 0x07, seven(route.input, 2) + seven(route.output, 2) + bytes((route.on,)))


def plain_request(device: int, do: str) -> bytes:
    """ "next", "back", "panic", "ask scene", "ask routing" or "ask backup"."""
    return own(device, _WITHOUT_DATA[do])
